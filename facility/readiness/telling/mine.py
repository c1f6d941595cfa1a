"""What one of the crew needs to know of themselves: what ends when, duty, waits, the declaration of the day."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.db.models import Max
from django.utils.translation import gettext as _

from facility.models import DrillPart, DutyPeriod, MedicalFitness, MedicalOutcome, QualificationHeld
from facility.readiness.explain_people import practice_words
from facility.readiness.telling.declaring import newest
from facility.readiness.telling.recency import last_practised, recency
from treatments.models import PressureWait, RunPlace

if TYPE_CHECKING:
    from collections.abc import Iterable

    from facility.models import FitDeclared, Person

SOON = timedelta(days=30)
ROSTER = timedelta(days=14)


@dataclass(frozen=True, slots=True)
class Ending:
    """Something that ends: what, its last good day (None: no end), why then, the mark, and its record."""

    what: str
    last_on: date | None
    note: str
    mark: str
    slug: str
    pk: int


@dataclass(frozen=True, slots=True)
class Mine:
    """One person's page."""

    endings: tuple[Ending, ...]
    duty: tuple[DutyPeriod, ...]
    waits: tuple[PressureWait, ...]
    declared: FitDeclared | None
    declared_runs: bool


Done = tuple[list[list[str]], list[list[str]]]


def practice_of(person: Person, at: datetime) -> Done:
    """Return a person's newest ended run and newest drill that reached its goal, by role, as stored texts."""
    runs = RunPlace.objects.filter(person=person, retired_at=None, run__retired_at=None, run__ended_at__lte=at)
    drills = DrillPart.objects.filter(
        person=person, retired_at=None, drill__retired_at=None, drill__reached=True, drill__held_at__lte=at
    )
    return (
        [[role, last.isoformat()] for role, last in runs.order_by().values_list("role").annotate(Max("run__ended_at"))],
        [
            [role, last.isoformat()]
            for role, last in drills.order_by().values_list("role").annotate(Max("drill__held_at"))
        ],
    )


def mine(person: Person, at: datetime) -> Mine:
    """Return what a person needs to know of themselves at ``at``; what ends first comes first."""
    today = at.astimezone(ZoneInfo(person.site.zone)).date()
    held = QualificationHeld.objects.filter(person=person, retired_at=None).select_related("kind")
    practice = practice_of(person, at)
    endings = [_of_certificate(row, practice, person.site.zone, today) for row in _best(held)]
    medical = MedicalFitness.objects.filter(person=person, retired_at=None).order_by("-examined_on", "-pk").first()
    if medical is not None:
        endings.append(_of_medical(medical, today))
    declared = newest(person)
    return Mine(
        tuple(sorted(endings, key=lambda one: (one.last_on or date.max, one.what))),
        tuple(_duty(person, at)),
        tuple(PressureWait.objects.filter(person=person, retired_at=None, ends_at__gt=at).order_by("ends_at")),
        declared,
        declared is not None and declared.until > at,
    )


def _best(held: Iterable[QualificationHeld]) -> Iterable[QualificationHeld]:
    """Return one certificate of each kind: looked at twice first, then the later end; a renewed one is past."""
    best: dict[int, QualificationHeld] = {}
    for row in held:
        known = best.get(row.kind_id)
        if known is None or _worth(row) > _worth(known):
            best[row.kind_id] = row
    return best.values()


def _worth(row: QualificationHeld) -> tuple[bool, date, date]:
    return bool(row.second_look_by), row.expires_on or date.max, row.issued_on


def _duty(person: Person, at: datetime) -> Any:
    rows = DutyPeriod.objects.filter(person=person, retired_at=None, ends_at__gt=at, starts_at__lt=at + ROSTER)
    return rows.order_by("starts_at")


def _of_certificate(row: QualificationHeld, practice: Done, zone: str, today: date) -> Ending:
    last, notes = row.expires_on, []
    if row.kind.recency_days is not None:
        found = recency(row.kind.recency_days, row.issued_on, last_practised(row.kind.key, *practice, zone))
        last = found.good_through if last is None else min(last, found.good_through)
        notes.append(practice_words(row.kind.name, found))
    if not row.second_look_by:
        notes.append(_("waiting for a second look: it does not count yet"))
    mark = "second" if not row.second_look_by else _mark(last, today)
    return Ending(row.kind.name, last, "; ".join(notes), mark, "qualification", row.pk)


def _of_medical(row: MedicalFitness, today: date) -> Ending:
    mark = "over" if row.outcome == MedicalOutcome.UNFIT else _mark(row.good_until, today)
    note = "" if row.outcome == MedicalOutcome.FIT else str(row.get_outcome_display())
    return Ending(_("Medical"), row.good_until, note, mark, "medical", row.pk)


def _mark(last: date | None, today: date) -> str:
    if last is None or last > today + SOON:
        return "indate"
    return "over" if last < today else "due"
