"""Waivers: a named person's dated, bounded decision to run although a finding is not met. Never renewed in silence."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from facility import events, house, services
from treatments.models import Need, Plan, Waiver

if TYPE_CHECKING:
    from datetime import datetime

    from django.db.models import QuerySet

    from facility.events import Actor
    from facility.models import Site

LONGEST = timedelta(days=31)


@dataclass(frozen=True, slots=True)
class Grant:
    """How a waiver comes about: by whose account, and whether the one who grants it is only on the telephone."""

    user_id: int | None
    spoken: bool
    shown: str


@transaction.atomic
def grant(waiver: Waiver, how: Grant, *, by: Actor) -> Waiver:
    """Store a waiver. One granted by telephone is to be countersigned by the house's deadline.

    Errors: ValidationError if the house does not let the need be waived, the reason or the counter-measure is blank,
    or its time is over, turned round or longer than 31 days.
    """
    now = events.now()
    _refuse(waiver, now)
    waiver.granted_user, waiver.spoken, waiver.shown = how.user_id, how.spoken, how.shown
    if how.spoken:
        hours = int(house.values(waiver.chamber.site)["countersign_hours"])
        waiver.countersign_by = now + timedelta(hours=hours)
    else:
        waiver.granted_by = by.name
    waiver.occurred_at = now
    action = "waiver granted by telephone" if how.spoken else "waiver granted"
    return services.add(waiver, by=by, action=action, reason=waiver.why)


def _refuse(waiver: Waiver, now: datetime) -> None:
    problems: dict[str, str] = {}
    if not waiver.why.strip():
        problems["why"] = _("Say why: it is kept with the waiver and stands in every pack.")
    if not waiver.counter_measure.strip():
        problems["counter_measure"] = _("Say what is done instead, so that the run is safe without it.")
    if waiver.spoken and not waiver.granted_by.strip():
        problems["granted_by"] = _("Name who granted it on the telephone.")
    if waiver.ends_at <= max(waiver.starts_at, now):
        problems["ends_at"] = _("A waiver must end after it begins, and after now. Give a later time.")
    elif waiver.ends_at - waiver.starts_at > LONGEST:
        problems["ends_at"] = _("A waiver lasts 31 days at most. Give an earlier end; a new one needs a new decision.")
    if not may_be_waived(waiver):
        problems["__all__"] = _(
            "The house does not let this be waived. Nobody is kept from acting: a run that starts all the same is "
            "recorded as outside the house rules."
        )
    if problems:
        raise ValidationError(problems)


def may_be_waived(waiver: Waiver) -> bool:
    """Return whether the house lets the need be waived; for the crew, whether any named plan lets it."""
    if waiver.need is not None:
        return waiver.need.waivable
    plans = Plan.objects.filter(chamber=waiver.chamber, retired_at=None)
    if waiver.plans:
        plans = plans.filter(key__in=waiver.plans)
    return plans.filter(crew_waivable=True).exists()


@transaction.atomic
def countersign(waiver: Waiver, *, user_id: int, by: Actor, shown_version: int) -> Waiver:
    """Let the one who granted it by telephone, or another who may, put their own name to it.

    Errors: ValidationError if it needs none, has one, or the account is the one that recorded it.
    """
    if not waiver.spoken:
        raise ValidationError(_("This waiver was granted in person and needs no countersign."), code="in person")
    if waiver.countersigned_at is not None:
        raise ValidationError(
            _("%(who)s countersigned it already.") % {"who": waiver.countersigned_by}, code="countersigned"
        )
    if user_id == waiver.granted_user:
        raise ValidationError(
            _("You recorded it yourself. Another person who may grant waivers countersigns it."), code="own"
        )
    waiver.countersigned_at, waiver.countersigned_by = events.now(), by.name
    return services.change(
        waiver, by=by, reason=_("Countersigned."), shown_version=shown_version, action="waiver countersigned"
    )


def end(waiver: Waiver, *, by: Actor, reason: str) -> Waiver:
    """End a waiver before its time; it no longer counts from now on.

    Errors: ValidationError for a blank reason; ChangedMeanwhileError if it ended already.
    """
    return services.retire(waiver, by=by, reason=reason, action="waiver ended")


def of_site(site: Site) -> QuerySet[Waiver]:
    """Return every waiver of a site, the newest first."""
    return Waiver.objects.filter(chamber__site=site).select_related("chamber", "need").order_by("-starts_at", "-pk")


def in_force(waiver: Waiver, now: datetime) -> bool:
    """Return whether it counts now."""
    return waiver.is_current and waiver.starts_at <= now < waiver.ends_at


def lacks_countersign(waiver: Waiver) -> bool:
    """Return whether its countersign is still owed, however long ago it ended."""
    return waiver.spoken and waiver.countersigned_at is None


def before_it(need: Need | None, chamber_id: int, now: datetime) -> int:
    """Return how many waivers of this need were granted within the last year: so that none is renewed in silence."""
    return Waiver.objects.filter(chamber=chamber_id, need=need, starts_at__gt=now - timedelta(days=365)).count()
