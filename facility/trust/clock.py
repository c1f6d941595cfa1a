"""Saying that the clock, which was ahead, is right again: the records alone cannot tell which of two times was right.

It takes nothing away: what was recorded meanwhile keeps its time and its mark, and that somebody said so, who and why
stands on each page until the times ahead have come, and in every pack of a whole site.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from facility import events, services

if TYPE_CHECKING:
    from datetime import datetime

    from facility.models import Event


def newest_ahead(at: datetime) -> datetime | None:
    """Return the latest instant on record that the clock has not reached; none if the clock is trusted. One query."""
    newest = events.latest().values_list("recorded_at", flat=True).first()
    return newest if newest is not None and newest > at + events.CLOCK_SLACK else None


def right_again(reason: str, by_another_clock: datetime, *, at: datetime, by: events.Actor) -> Event:
    """Record that the clock is right now, as somebody read it from another one. Records ahead count against it no longer.

    Errors: ValidationError for a blank reason, if the clock is trusted already, or if the other clock says another time.
    """
    reason = services.need_reason(reason)
    ahead = newest_ahead(at)
    if ahead is None:
        raise ValidationError(_("The clock is trusted: no record is of later than now."))
    if abs(by_another_clock - at) > events.CLOCK_JUMP:
        said = {"box": f"{at:%Y-%m-%d %H:%M} UTC", "other": f"{by_another_clock:%Y-%m-%d %H:%M} UTC"}
        raise ValidationError(
            {"now": _("This box says %(box)s, you typed %(other)s. Set the clock of the box first.") % said}
        )
    after = {
        "ahead_until": ahead.isoformat(timespec="seconds"), "clock": at.isoformat(timespec="seconds"),
        "by_another_clock": by_another_clock.isoformat(timespec="seconds"),
    }  # fmt: skip
    with transaction.atomic():
        return events.record(None, events.What(events.CLOCK_RIGHT, reason=reason, after=after), by=by)
