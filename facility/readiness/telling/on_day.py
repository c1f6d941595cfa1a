"""What was on record of each of the crew on one day: as the record knew it then, and as it knows it now.

"Then" is the end of that day in the zone of the site: a statement counts on that side if it was recorded before, and
was not struck out or superseded before. When it was recorded stands in its first event; a second look counts from its
own event on. Practice is taken from runs and drills up to that day, as the record knows them now.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

from django.db.models import Q

from facility.compute.instants import datetime_of, end_of_local_day
from facility.gathered import start_of_day
from facility.models import (
    DrillPart,
    DutyPeriod,
    Event,
    FitDeclared,
    MedicalFitness,
    Person,
    QualificationHeld,
)
from treatments.models import PressureWait, RunPlace

if TYPE_CHECKING:
    from collections.abc import Iterable

    from facility.models import Site
    from facility.models.base import Entry

SECOND_LOOK = "second look"


@dataclass(frozen=True, slots=True)
class Day:
    """A civil day at a site, from its first instant to the first of the next."""

    on: date
    zone: str
    begin: datetime
    end: datetime


def day_of(on: date, zone: str) -> Day:
    """Return a civil day."""
    return Day(on, zone, datetime_of(start_of_day(on, zone)), datetime_of(end_of_local_day(on, 0, zone)))


class Known:
    """The statements of a site that bear on one day, and when the record came to know them. Nine queries."""

    def __init__(self, site: Site, day: Day) -> None:
        self.day = day
        self.people = list(Person.objects.filter(site=site).order_by("name"))
        of_site = {"person__site": site}
        held = QualificationHeld.objects.filter(**of_site, issued_on__lte=day.on).select_related("kind")
        within = Q(starts_at__lt=day.end, ends_at__gt=day.begin)
        self.held = _by_person(held)
        self.medicals = _by_person(MedicalFitness.objects.filter(**of_site, examined_on__lte=day.on))
        self.duty = _by_person(DutyPeriod.objects.filter(within, **of_site).order_by("starts_at"))
        self.waits = _by_person(PressureWait.objects.filter(within, **of_site).order_by("starts_at"))
        self.declared = _by_person(
            FitDeclared.objects.filter(**of_site, declared_at__lt=day.end, until__gt=day.begin).order_by("declared_at")
        )
        self.runs, self.drills = _practice(site, day)
        self._first, self._looked = self._events(site)

    def _events(self, site: Site) -> tuple[dict[tuple[str, int], datetime], dict[int, datetime]]:
        """Return when each statement was first recorded, and when a certificate had its second look."""
        kinds = (QualificationHeld, MedicalFitness, DutyPeriod, PressureWait, FitDeclared)
        every = (self.held, self.medicals, self.duty, self.waits, self.declared)
        ids = {row.pk for rows in every for ones in rows.values() for row in ones}
        first: dict[tuple[str, int], datetime] = {}
        looked: dict[int, datetime] = {}
        rows = Event.objects.filter(
            site_id_text=site.key, subject_kind__in=[kind._meta.label_lower for kind in kinds], subject_id__in=ids
        ).order_by("seq")
        for kind, pk, action, at in rows.values_list("subject_kind", "subject_id", "action", "recorded_at"):
            if pk is None:
                continue
            first.setdefault((kind, pk), at)
            if action == SECOND_LOOK and kind == QualificationHeld._meta.label_lower:
                looked[pk] = at
        return first, looked

    def recorded_at(self, row: Entry) -> datetime:
        """Return when a statement was first recorded."""
        return self._first.get((row._meta.label_lower, row.pk), row.recorded_at)

    def then(self, rows: Iterable[Any]) -> list[Any]:
        """Keep what the record knew at the end of the day and did not know to be wrong."""
        return [
            row for row in rows
            if self.recorded_at(row) < self.day.end and (row.retired_at is None or row.retired_at >= self.day.end)
        ]  # fmt: skip

    def looked_by_then(self, row: QualificationHeld) -> bool:
        """Return whether a certificate had its second look by the end of the day."""
        return bool(row.second_look_by) and self._looked.get(row.pk, self.recorded_at(row)) < self.day.end


def now_known(rows: Iterable[Any]) -> list[Any]:
    """Keep what still counts."""
    return [row for row in rows if row.retired_at is None]


def _by_person(rows: Any) -> dict[int, list[Any]]:
    found: dict[int, list[Any]] = defaultdict(list)
    for row in rows:
        found[row.person_id].append(row)
    return found


def _practice(site: Site, day: Day) -> tuple[dict[int, list[list[str]]], dict[int, list[list[str]]]]:
    """Return ended runs and drills that reached their goal, up to the end of the day: [role, instant] by person."""
    runs = RunPlace.objects.filter(
        person__site=site, retired_at=None, run__retired_at=None, run__ended_at__lt=day.end
    ).values_list("person_id", "role", "run__ended_at")
    drills = DrillPart.objects.filter(
        person__site=site, retired_at=None, drill__retired_at=None, drill__reached=True, drill__held_at__lt=day.end
    ).values_list("person_id", "role", "drill__held_at")
    return _rows(runs), _rows(drills)


def _rows(found: Iterable[tuple[int | None, str, datetime | None]]) -> dict[int, list[list[str]]]:
    by_person: dict[int, list[list[str]]] = defaultdict(list)
    for person, role, at in found:
        if person is not None and at is not None:
            by_person[person].append([role, at.isoformat()])
    return by_person
