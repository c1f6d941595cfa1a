"""The trail of a person: roles held, what they did, and what was in date on the day they did it."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import chain
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from django.utils.text import capfirst
from django.utils.translation import gettext as _

from facility.event_words import acted
from facility.models import Event, MedicalFitness, MedicalOutcome, Membership, Person, QualificationHeld
from facility.visits.by_name import deeds_by_name
from facility.visits.words import subject_words
from treatments.models import RunPlace

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import date, datetime

MOST = 100
#: kinds of row that tell nothing of the trade
LEFT_OUT = (
    "facility.user",
    "facility.noticehour",
    "facility.noticeway",
    "facility.noticemute",
    "facility.calendarfeed",
)


@dataclass(frozen=True, slots=True)
class Deed:
    """One thing that a person did, and what was in date for them on that day, as known now."""

    at: datetime
    what: str
    sub: str
    event: int | None
    on: date
    in_date: tuple[str, ...]
    medical: bool


@dataclass(frozen=True, slots=True)
class Trail:
    """A person with the roles of their account and the newest things they did."""

    person: Person
    roles: tuple[Membership, ...]
    deeds: tuple[Deed, ...]


def trail_of(person: Person, since: datetime | None = None) -> Trail:
    """Return the newest 100 deeds of a person, from ``since`` on, in eight queries."""
    zone = ZoneInfo(person.site.zone)
    held = list(
        QualificationHeld.objects.current().filter(person=person).exclude(second_look_by="").select_related("kind")
    )
    medicals = list(MedicalFitness.objects.current().filter(person=person))
    roles: tuple[Membership, ...] = ()
    if person.user_id is not None:
        roles = tuple(Membership.objects.filter(user=person.user_id, site=person.site).order_by("recorded_at"))
    told = chain(_runs(person, since), _events(person, since), deeds_by_name(person, since, MOST))
    found = sorted(told, key=lambda one: one[0], reverse=True)[:MOST]
    deeds = []
    for at, what, sub, event in found:
        on = at.astimezone(zone).date()
        deeds.append(Deed(at, what, sub, event, on, _in_date(held, on), _medical(medicals, on)))
    return Trail(person, roles, tuple(deeds))


def _runs(person: Person, since: datetime | None) -> Iterator[tuple[datetime, str, str, int | None]]:
    places = RunPlace.objects.current().filter(person=person, run__started_at__isnull=False).select_related("run")
    if since is not None:
        places = places.filter(run__started_at__gte=since)
    for place in places.order_by("-run__started_at")[:MOST]:
        started = place.run.started_at
        if started is not None:
            inside = _("under pressure") if place.inside else _("outside")
            words = _("Run %(number)d as %(role)s") % {"number": place.run.number, "role": place.get_role_display()}
            yield started, words, inside, None


def _events(person: Person, since: datetime | None) -> Iterator[tuple[datetime, str, str, int | None]]:
    """Yield what the person's account recorded at the site; a name is not enough, the log carries the account's number."""
    if person.user is None:
        return
    rows = Event.objects.filter(
        site_id_text=person.site.key, actor=str(person.user), payload__contains=f'"actor_id":"{person.user_id}"'
    ).exclude(subject_kind__in=LEFT_OUT)
    if since is not None:
        rows = rows.filter(recorded_at__gte=since)
    for event in rows.order_by("-seq")[:MOST]:
        yield event.recorded_at, capfirst(acted(event.action)), subject_words(event), event.seq


def _in_date(held: Sequence[QualificationHeld], on: date) -> tuple[str, ...]:
    good = {row.kind.name for row in held if row.issued_on <= on and (row.expires_on is None or on <= row.expires_on)}
    return tuple(sorted(good))


def _medical(rows: Sequence[MedicalFitness], on: date) -> bool:
    """Return whether the newest examination up to a day was good on it and did not end in unfit."""
    newest = max(
        (row for row in rows if row.examined_on <= on), key=lambda row: (row.examined_on, row.pk), default=None
    )
    return newest is not None and newest.outcome != MedicalOutcome.UNFIT and on <= newest.good_until
