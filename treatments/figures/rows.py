"""The rows of a run as plain values, with a number of queries that does not grow with its log."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from facility.compute.units import cubic_metres, kpa_from
from facility.reference import units
from maintenance.models import BankReading, Cylinder, GasBank
from maintenance.models.temperatures import measured_c
from treatments.compute.company import LOCK_IN, Occupant
from treatments.compute.logbook import REACHED_SURFACE, LoggedEntry
from treatments.compute.pressure import from_kpa_gauge, to_kpa_gauge
from treatments.models import LogEntry, LogKind, Run, RunRole
from treatments.reference.laws import scales
from treatments.table_book.tables import table_of_run

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from treatments.compute.tables import Table
    from treatments.models import RunPlace

#: how long before and after a run the reading of a bank may have been taken; own choice, the age is shown
BEFORE, AFTER = timedelta(days=3), timedelta(days=2)
SCALE = "1 msw = 3.2646 fsw"


@dataclass(frozen=True, slots=True)
class BankRows:
    """A bank of the plan: its cylinders (water litres by row) and its readings (cylinder, instant, value, unit, degC or None)."""

    pk: int
    name: str
    gas: str
    cylinders: Mapping[int, Decimal]
    readings: tuple[tuple[int | None, datetime, Decimal, str, Decimal | None], ...]


@dataclass(frozen=True, slots=True)
class Rows:
    """A run as read. ``until``: minutes from leaving the surface to now or to reaching it; ``over``: it reached it."""

    run: Run
    now: datetime
    zone: ZoneInfo
    table: Table | None
    places: tuple[tuple[RunPlace, Occupant], ...]
    entries: tuple[LoggedEntry, ...]
    texts: Mapping[int, Mapping[str, str]]
    recorded: tuple[Any, ...]
    banks: tuple[BankRows, ...]
    lock_m3: float | None

    @property
    def over(self) -> bool:
        """Whether the run reached the surface."""
        return self.run.ended_at is not None or any(one.kind == REACHED_SURFACE for one in self.entries)

    @property
    def until(self) -> float:
        """Minutes from leaving the surface to now, or to reaching it; 0 before it left."""
        if self.run.started_at is None:
            return 0.0
        if self.run.ended_at is not None:
            return self.minute(self.run.ended_at)
        ended = [one.minute for one in self.entries if one.kind == REACHED_SURFACE]
        return max(0.0, ended[-1] if ended else self.minute(self.now))

    def minute(self, at: datetime) -> float:
        """Return an instant as minutes from leaving the surface."""
        start = self.run.started_at or self.now
        return (at - start).total_seconds() / 60

    def instant(self, minute: float) -> datetime:
        """Return a minute from leaving the surface as an instant."""
        return (self.run.started_at or self.now) + timedelta(minutes=minute)


def fsw_of(depth: Decimal, unit: str) -> float:
    """Return a gauge depth in fsw; one typed in fsw stays as it is.

    >>> round(fsw_of(Decimal(18), "msw"), 2)
    58.76
    """
    return _fsw_of(str(depth), unit)


@lru_cache(maxsize=4096)
def _fsw_of(depth: str, unit: str) -> float:
    if unit == "fsw":
        return float(depth)
    scale = scales()[SCALE]
    kpa = to_kpa_gauge(Decimal(depth), unit, scale) if unit == "msw" else kpa_from(Decimal(depth), unit, units())
    return float(from_kpa_gauge(kpa, "fsw", scale))


def rows_of(run: Run, now: datetime) -> Rows:
    """Return a run as plain values: its places, its current entries in order, records and readings of its banks."""
    entries = list(
        LogEntry.objects.filter(run=run, retired_at=None, occurred_at__lte=now)
        .order_by("occurred_at", "id")
        .values_list("id", "occurred_at", "kind", "occupant_id", "depth", "depth_unit", "values")
    )
    places = list(run.places.filter(retired_at=None).order_by("id"))
    return Rows(
        run=run,
        now=now.astimezone(UTC),
        zone=ZoneInfo(run.chamber.site.zone),
        table=table_of_run(run),
        places=tuple((one, _occupant(run, one)) for one in places if _goes_in(one, entries)),
        entries=tuple(_entry(run, now, row) for row in entries),
        texts={row[0]: row[6] for row in entries},
        recorded=tuple(run.profiles.filter(retired_at=None).order_by("id")),
        banks=_banks(run, now),
        lock_m3=None if run.lock is None else float(cubic_metres(run.lock.volume, run.lock.volume_unit, units())),
    )


def _goes_in(place: RunPlace, entries: Iterable[Sequence[Any]]) -> bool:
    return place.inside or any(row[2] == LOCK_IN and row[3] == place.pk for row in entries)


def _occupant(run: Run, place: RunPlace) -> Occupant:
    gap = None
    if place.previous_exposure_at is not None and run.started_at is not None:
        gap = max(0.0, (run.started_at - place.previous_exposure_at).total_seconds() / 3600)
    patient = place.role == RunRole.PATIENT
    return Occupant(place.pk, place.label, place.role, place.inside, patient, not patient, gap)


def _entry(run: Run, now: datetime, row: Sequence[Any]) -> LoggedEntry:
    pk, at, kind, occupant, depth, unit, values = row
    minute = (at - (run.started_at or now)).total_seconds() / 60
    fsw = None if depth is None else fsw_of(depth, unit)
    return LoggedEntry(minute, LogKind(kind).value, occupant, fsw, values, pk)


def _banks(run: Run, now: datetime) -> tuple[BankRows, ...]:
    if run.started_at is None:
        return ()
    banks = list(
        GasBank.objects.filter(
            needed_by__need__plans=run.plan_id, needed_by__retired_at=None, retired_at=None
        ).distinct().order_by("gas", "key")
    )  # fmt: skip
    keys = [one.pk for one in banks]
    water: dict[int, dict[int, Decimal]] = {key: {} for key in keys}
    for bank, pk, litres in Cylinder.objects.filter(bank__in=keys, retired_at=None).values_list(
        "bank_id", "id", "water_litres"
    ):
        water[bank][pk] = litres
    until = (run.ended_at or now) + AFTER
    read: dict[int, list[Any]] = {key: [] for key in keys}
    rows = BankReading.objects.filter(
        bank__in=keys, retired_at=None, read_at__gte=run.started_at - BEFORE, read_at__lte=until
    )
    for bank, *row in rows.order_by("read_at", "id").values_list(
        "bank_id", "cylinder_id", "read_at", "pressure", "unit", measured_c()
    ):
        read[bank].append(tuple(row))
    return tuple(BankRows(one.pk, one.name, one.gas, water[one.pk], tuple(read[one.pk])) for one in banks)
