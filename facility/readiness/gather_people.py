"""People as facts: qualifications, medical fitness, duty, waits after pressure, and who declared not to be fit.

Who declared not to be fit counts as one who waits after pressure until the end of that declaration; only the newest
one counts. A qualification that lapses without practice ends with its certificate or with its practice, whichever
comes first (facility.readiness.telling.recency).
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any, NamedTuple

from django.db.models import Max, OuterRef, Q

from facility.compute import facts as f
from facility.compute.instants import end_of_local_day
from facility.compute.rest import RestRules, unrested
from facility.gathered import Row, Scope, branch, current, minute_down, minute_up, nested, newest, start_of_day
from facility.models import (
    DrillPart,
    DutyPeriod,
    FitDeclared,
    MedicalFitness,
    MedicalOutcome,
    Person,
    QualificationHeld,
)
from facility.readiness.telling.recency import Recency, last_practised, recency
from treatments.models import PressureWait, RunPlace

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

    from django.db.models import QuerySet

    from facility.compute.instants import Instant

PERSON, DUTY = "person", "duty"
EXPIRED_SHOWN = timedelta(days=365)
"""A qualification that ended longer ago changes no answer and is left in the records."""


class PersonRow(NamedTuple):
    """A person of a site with all that bears on a role.

    ``medical``: newest examination [examined on, good until, outcome]; ``held``: [kind, its name, issued on,
    expires on, second look by, lapses without practice after days]; ``waits``: [from, until]; ``runs`` and ``drills``: [role,
    newest]; ``declared``: newest declaration [fit, declared at, until].
    """

    site: int
    pk: int
    key: str
    name: str
    medical: Row | None
    held: list[Row]
    waits: list[Row]
    runs: list[Row]
    drills: list[Row]
    declared: Row | None

    def practice(self, held: Row, zone: str) -> Recency | None:
        """Return until when one of ``held`` counts by practice; nothing where it does not lapse that way."""
        kind, _name, issued_on, _expires_on, _second_look_by, every_days = held
        if every_days is None:
            return None
        return recency(every_days, date.fromisoformat(issued_on), last_practised(kind, self.runs, self.drills, zone))

    def not_fit(self, at: Instant) -> f.Span | None:
        """Return the span for which this person declared not to be fit, unless it is over at ``at``."""
        if self.declared is None or self.declared[0]:
            return None
        span = f.Span(minute_down(self.declared[1]), minute_up(self.declared[2]))
        return span if span.until > max(at, span.from_) else None


def branches(scope: Scope) -> list[QuerySet[Any]]:
    """Return the rows of the current people of the sites."""
    latest_day = (scope.at + timedelta(hours=14)).date()  # the furthest zone is 14 h ahead of UTC
    medicals = current(MedicalFitness).filter(person=OuterRef("pk"), examined_on__lte=latest_day)
    held = current(QualificationHeld).filter(
        Q(expires_on=None) | Q(expires_on__gte=latest_day - EXPIRED_SHOWN), person=OuterRef("pk")
    )
    people = current(Person).filter(site__in=scope.sites)
    waits = current(PressureWait).filter(ends_at__gt=scope.at, person=OuterRef("pk"))
    runs = current(RunPlace).filter(person=OuterRef("pk"), run__retired_at=None, run__ended_at__lte=scope.at)
    drills = current(DrillPart).filter(
        person=OuterRef("pk"), drill__retired_at=None, drill__reached=True, drill__held_at__lte=scope.at
    )
    declared = current(FitDeclared).filter(person=OuterRef("pk"), declared_at__lte=scope.at)
    return [
        branch(
            PERSON, people, "site_id", "pk", "key", "name",
            newest(medicals.order_by("-examined_on", "-id"), "examined_on", "good_until", "outcome"),
            nested(
                held, "kind__key", "kind__name", "issued_on", "expires_on", "second_look_by", "kind__recency_days"
            ),
            nested(waits, "starts_at", "ends_at"),
            nested(runs.values("role").annotate(last=Max("run__ended_at")), "role", "last"),
            nested(drills.values("role").annotate(last=Max("drill__held_at")), "role", "last"),
            newest(declared.order_by("-declared_at", "-id"), "fit", "declared_at", "until"),
        ),
        branch(
            DUTY, current(DutyPeriod).filter(ends_at__gt=scope.duty_since or scope.at, person__in=people),
            "person_id", "on_call", "starts_at", "ends_at",
        ),
    ]  # fmt: skip


def people_of_sites(
    people: Iterable[PersonRow],
    duty: Mapping[int | None, list[Row]],
    zones: Mapping[int, str],
    at: Instant,
    tired: Mapping[int, tuple[f.Span, ...]],
) -> dict[int, dict[str, f.Person]]:
    """Turn people into facts, by site and by their keys. ``tired``: when each has not rested, by number."""
    found: dict[int, dict[str, f.Person]] = {site_id: {} for site_id in zones}
    for row in people:
        one = person_facts(row, duty.get(row.pk, ()), zones[row.site], at)
        if tired.get(row.pk):
            waits = sorted((*one.waits, *tired[row.pk]), key=lambda span: span.from_)
            one = replace(one, waits=tuple(waits))
        found[row.site][row.key] = one
    return found


def tired_people(
    people: Iterable[PersonRow],
    duty: Mapping[int | None, list[Row]],
    rules: Mapping[int, Mapping[str, Any]],
    at: Instant,
) -> dict[int, tuple[f.Span, ...]]:
    """Return when each has not rested by the roster and the house's rules; only spans that are not over.

    On call away from the site counts as rest.
    """
    asked = {site: RestRules(int(one["least_rest_min"]), int(one["longest_duty_min"])) for site, one in rules.items()}
    found = {}
    for row in people:
        if asked[row.site].asked:
            here = _spans([one for one in duty.get(row.pk, ()) if not one[1]], minute_down, minute_up)
            found[row.pk] = tuple(span for span in unrested(here, asked[row.site]) if span.until > at)
    return found


def person_facts(person: PersonRow, duty: Iterable[Row], zone: str, at: Instant) -> f.Person:
    """Turn one person's rows into facts. Only the newest examination and the newest declaration count."""
    qualifications: dict[str, tuple[f.Held, ...]] = {}
    for row in person.held:
        kind, issued_on, second_look_by = row[0], row[2], row[4]
        one = f.Held(
            start_of_day(date.fromisoformat(issued_on), zone), _held_until(person, row, zone), not second_look_by
        )
        qualifications[kind] = (*qualifications.get(kind, ()), one)
    medical, restricted = _medical(person.medical, zone)
    waits = _spans(person.waits, minute_down, minute_up)
    not_fit = person.not_fit(at)
    return f.Person(
        qualifications=qualifications,
        medical=medical,
        duty=tuple(span for span in _spans(duty, minute_up, minute_down) if span.until > at),
        waits=waits if not_fit is None else tuple(sorted((*waits, not_fit), key=lambda span: span.from_)),
        restricted=restricted,
    )


def _held_until(person: PersonRow, row: Row, zone: str) -> Instant | None:
    """Return the earlier end of a certificate and of its practice."""
    practice = person.practice(row, zone)
    days = [date.fromisoformat(row[3])] if row[3] is not None else []
    days += [practice.good_through] if practice is not None else []
    return end_of_local_day(min(days), 0, zone) if days else None


def _spans(rows: Iterable[Row], start: Callable[[str], Instant], end: Callable[[str], Instant]) -> tuple[f.Span, ...]:
    """Turn stored times, last in their rows, into whole minutes, the careful way for this kind of span."""
    spans = [f.Span(start(row[-2]), end(row[-1])) for row in rows]
    return tuple(sorted((span for span in spans if span.until > span.from_), key=lambda span: span.from_))


def _medical(row: Row | None, zone: str) -> tuple[tuple[f.Held, ...], tuple[f.Span, ...]]:
    """Turn the newest examination into facts: fit, fit with limits, or not fit and so already over."""
    if row is None:
        return (), ()
    examined_on, good_until, outcome = row
    since = start_of_day(date.fromisoformat(examined_on), zone)
    until = end_of_local_day(date.fromisoformat(good_until), 0, zone)
    if outcome == MedicalOutcome.UNFIT:
        return (f.Held(since - 1, since),), ()
    limits = (f.Span(since, until),) if outcome == MedicalOutcome.LIMITED else ()
    return (f.Held(since, until),), limits


def roster_end(people: Mapping[str, f.Person], at: Instant) -> Instant:
    """Return where a site's roster ends: nobody knows who is on duty from then on.

    A site that has no duty on record ahead ends at ``at``: not known, rather than nobody there.
    """
    return max([span.until for person in people.values() for span in person.duty], default=at)
