"""Putting a shut-down on record and ending it early."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from facility import events, services
from facility.models import ShutDown

if TYPE_CHECKING:
    from facility.events import Actor


@transaction.atomic
def plan(row: ShutDown, *, by: Actor) -> ShutDown:
    """Store a shut-down.

    Errors: ValidationError if it is over already, or lies over another one of the chamber.
    """
    if row.ends_at <= events.now():
        raise ValidationError({"ends_at": _("It would be over already. Choose an end that lies ahead.")})
    others = ShutDown.objects.filter(chamber=row.chamber, retired_at=None, starts_at__lt=row.ends_at)
    other = others.filter(ends_at__gt=row.starts_at).first()
    if other is not None:
        said = {
            "why": other.why,
            "from": f"{other.starts_at:%Y-%m-%d %H:%M} UTC",
            "to": f"{other.ends_at:%Y-%m-%d %H:%M} UTC",
        }
        raise ValidationError(
            {
                "starts_at": _("It lies over another one, “%(why)s” from %(from)s to %(to)s. Take that one back first.")
                % said
            }
        )
    return services.add(row, by=by, action="shut-down planned", reason=row.why)


def take_back(row: ShutDown, *, by: Actor, reason: str) -> ShutDown:
    """Let a shut-down count no longer: it ended early or is put off.

    Errors: ValidationError for a blank reason, or if it was taken back already.
    """
    return services.retire(row, by=by, reason=reason, action="shut-down taken back")
