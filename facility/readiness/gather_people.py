"""People as facts: qualifications, medical fitness, duty and waits after pressure."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from django.db.models import OuterRef, Q

from facility.compute import facts as f
from facility.compute.instants import end_of_local_day
from facility.gathered import Row, Rows, Scope, branch, by_owner, current, minute_down, minute_up, newest, start_of_day
from facility.models import DutyPeriod, MedicalFitness, MedicalOutcome, Person, QualificationHeld
from treatments.models import PressureWait

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

    from django.db.models import QuerySet

    from facility.compute.instants import Instant

PERSON, HELD, DUTY, WAIT = "person", "held", "duty", "wait"
EXPIRED_SHOWN = timedelta(days=365)
"""A qualification that ended longer ago changes no answer and is left in the records."""


def branches(scope: Scope) -> list[QuerySet[Any]]:
    """Return the rows of the current people of the sites."""
    latest_day = (scope.at + timedelta(hours=14)).date()
    medicals = (
        current(MedicalFitness)
        .filter(person=OuterRef("pk"), examined_on__lte=latest_day)
        .order_by("-examined_on", "-id")
    )
    of_site = {"person__site__in": scope.sites, "person__retired_at": None}
    held = current(QualificationHeld).filter(
        Q(expires_on=None) | Q(expires_on__gte=latest_day - EXPIRED_SHOWN), **of_site
    )
    return [
        branch(
            PERSON, current(Person).filter(site__in=scope.sites),
            "site_id", "pk", "key", "name", "phone", newest(medicals, "examined_on", "good_until", "outcome", "pk"),
        ),
        branch(HELD, held, "person_id", "kind__key", "kind__name", "issued_on", "expires_on", "second_look_by", "pk"),
        branch(
            DUTY, current(DutyPeriod).filter(ends_at__gt=scope.at, **of_site),
            "person_id", "starts_at", "ends_at", "on_call",
        ),
        branch(
            WAIT, current(PressureWait).filter(ends_at__gt=scope.at, **of_site), "person_id", "starts_at", "ends_at", "why"
        ),
    ]  # fmt: skip


def people_of_sites(rows: Rows, zones: Mapping[int, str]) -> dict[int, dict[str, f.Person]]:
    """Turn the rows of people into facts, by site and by their keys."""
    held, duty, waits = (by_owner(rows[kind]) for kind in (HELD, DUTY, WAIT))
    found: dict[int, dict[str, f.Person]] = {site_id: {} for site_id in zones}
    for row in sorted(rows[PERSON], key=_key):
        person = row[1]
        found[row[0]][row[2]] = person_facts(
            row, held.get(person, ()), duty.get(person, ()), waits.get(person, ()), zones[row[0]]
        )
    return found


def _key(row: Row) -> str:
    return str(row[2])


def person_facts(person: Row, held: Iterable[Row], duty: Iterable[Row], waits: Iterable[Row], zone: str) -> f.Person:
    """Turn one person's rows into facts. Only the newest examination counts."""
    qualifications: dict[str, tuple[f.Held, ...]] = {}
    for _, kind, _, issued_on, expires_on, second_look_by, _ in held:
        until = None if expires_on is None else end_of_local_day(date.fromisoformat(expires_on), 0, zone)
        one = f.Held(start_of_day(date.fromisoformat(issued_on), zone), until, not second_look_by)
        qualifications[kind] = (*qualifications.get(kind, ()), one)
    medical, restricted = _medical(person[5], zone)
    return f.Person(
        qualifications=qualifications,
        medical=medical,
        duty=_spans(duty, minute_up, minute_down),
        waits=_spans(waits, minute_down, minute_up),
        restricted=restricted,
    )


def _spans(rows: Iterable[Row], start: Callable[[str], Instant], end: Callable[[str], Instant]) -> tuple[f.Span, ...]:
    """Turn stored times into whole minutes, the careful way for this kind of span."""
    spans = [f.Span(start(row[1]), end(row[2])) for row in rows]
    return tuple(sorted((span for span in spans if span.until > span.from_), key=lambda span: span.from_))


def _medical(row: Row | None, zone: str) -> tuple[tuple[f.Held, ...], tuple[f.Span, ...]]:
    """Turn the newest examination into facts: fit, fit with limits, or not fit and so already over."""
    if row is None:
        return (), ()
    examined_on, good_until, outcome, _ = row
    since = start_of_day(date.fromisoformat(examined_on), zone)
    until = end_of_local_day(date.fromisoformat(good_until), 0, zone)
    if outcome == MedicalOutcome.UNFIT:
        return (f.Held(since - 1, since),), ()
    limits = (f.Span(since, until),) if outcome == MedicalOutcome.LIMITED else ()
    return (f.Held(since, until),), limits


def roster_ends(rows: Rows, sites: Iterable[int], at: Instant) -> dict[int, Instant]:
    """Return where each site's roster ends: nobody knows who is on duty from then on.

    A site that has no duty on record ahead ends at ``at``: not known, rather than nobody there.
    """
    site_of = {row[1]: row[0] for row in rows[PERSON]}
    found = dict.fromkeys(sites, at)
    for row in rows[DUTY]:
        site = site_of[row[0]]
        found[site] = max(found[site], minute_down(row[2]))
    return found
