"""How long each kind of record is kept by house rule, the oldest there is, and which identities are past their time.

Records are never removed: the log would no longer verify. Who a patient was can be erased, and the log stays whole.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, Any

from django.db.models import Max, Min, Q
from django.utils.translation import gettext as _

from facility import house
from facility.models import Check, MedicalFitness
from facility.reference import house_rule_definitions
from maintenance.models import WorkRecord
from treatments.models import Patient, Run

if TYPE_CHECKING:
    from collections.abc import Iterator

    from facility.models import Site

LEAP_DAY = (2, 29)


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of record: its rule, its years, the day of the oldest row, and whether that is still within the years."""

    name: str
    rule: str
    years: int
    where: str
    oldest: date | None
    kept_from: date

    @property
    def reaches_back(self) -> bool:
        """Whether the oldest record is older than must be kept."""
        return self.oldest is not None and self.oldest < self.kept_from


@dataclass(frozen=True, slots=True)
class Identity:
    """A patient whose last run lies longer back than the rule says."""

    patient: Patient
    last_run: date


def years_before(day: date, years: int) -> date:
    """Return the same day some years earlier; 29 February becomes the 28th.

    >>> years_before(date(2024, 2, 29), 1)
    datetime.date(2023, 2, 28)
    """
    short = 1 if (day.month, day.day) == LEAP_DAY else 0
    return date(day.year - years, day.month, day.day - short)


def kinds(site: Site, today: date) -> list[Kind]:
    """Return each kind with its oldest record."""
    return list(_kinds(site, today))


def _kinds(site: Site, today: date) -> Iterator[Kind]:
    rules, told = house.values(site), house_rule_definitions()
    rows: tuple[tuple[str, str, Any], ...] = (
        (str(_("runs")), "keep_run_years", Run.objects.filter(chamber__site=site).aggregate(at=Min("started_at"))["at"]),
        (str(_("checks")), "keep_plant_years",
         Check.objects.filter(sheet__chamber__site=site).aggregate(at=Min("started_at"))["at"]),
        (str(_("work on the plant")), "keep_plant_years",
         WorkRecord.objects.filter(equipment__site=site).aggregate(at=Min("done_on"))["at"]),
        (str(_("medicals of the crew")), "keep_person_years",
         MedicalFitness.objects.filter(person__site=site).aggregate(at=Min("examined_on"))["at"]),
    )  # fmt: skip
    for name, rule, oldest in rows:
        years = int(rules[rule])
        yield Kind(name, rule, years, told[rule].where, _day(oldest), years_before(today, years))


def _day(value: date | datetime | None) -> date | None:
    return value.date() if isinstance(value, datetime) else value


def identities(site: Site, today: date) -> list[Identity]:
    """Return the patients who should be erased by house rule: the last run too long ago, or none and recorded too long ago."""
    first = years_before(today, int(house.values(site)["keep_identity_years"]))
    cut = datetime(first.year, first.month, first.day, tzinfo=UTC)
    rows = Patient.objects.filter(site=site, erased_at=None).annotate(last=Max("places__run__started_at"))
    old = rows.filter(Q(last__lt=cut) | Q(last=None, recorded_at__lt=cut)).order_by("pk")
    return [Identity(row, (row.last or row.recorded_at).date()) for row in old]
