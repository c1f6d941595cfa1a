"""Builders of counters, readings, events and looks. Each goes through its service."""

from __future__ import annotations

from datetime import UTC, date, datetime, time
from decimal import Decimal
from itertools import count
from typing import TYPE_CHECKING, Any

from facility import services
from maintenance.models import (
    Counter,
    CounterReading,
    CylinderAnalysis,
    Deferral,
    Happening,
    MeterReplacement,
    Recall,
    WorkRecord,
)
from tests.make import BY

if TYPE_CHECKING:
    from facility.models import Site
    from maintenance.models import Equipment, IntervalRule

_numbers = count(1)


def counter(at: Site, **fields: Any) -> Counter:
    """Return a stored counter of pressure cycles, one for each run."""
    number = next(_numbers)
    defaults = {"site": at, "key": f"cycles-{number}", "name": "Cycles", "unit": "cycles", "per_run": Decimal(1)}
    return services.add(Counter(**defaults | fields), by=BY)


def reading(of: Counter, on: date, value: str, **fields: Any) -> CounterReading:
    """Return a stored reading, at noon UTC."""
    at = datetime.combine(on, time(12), UTC)
    defaults = {"counter": of, "read_at": at, "value": Decimal(value), "read_by": "Ina Test"}
    return services.add(CounterReading(**defaults | fields), by=BY)


def replaced(of: Counter, on: date, last: str, first: str) -> MeterReplacement:
    """Return a stored replacement of a meter."""
    row = MeterReplacement(
        counter=of, replaced_on=on, last_of_old=Decimal(last), first_of_new=Decimal(first), why="worn", done_by="Ina"
    )
    return services.add(row, by=BY)


def happening(to: Equipment, kind: str, on: date) -> Happening:
    """Return a stored event."""
    return services.add(Happening(equipment=to, kind=kind, happened_on=on, reported_by="Ina Test"), by=BY)


def look(of: IntervalRule, on: date, *, clean: bool = True) -> Deferral:
    """Return a stored look that may put an act off."""
    row = Deferral(rule=of, looked_on=on, no_damage=clean, looked_by="Bo", approved_by="Ina", why="no corrosion")
    return services.add(row, by=BY)


def doubt(row: WorkRecord | CylinderAnalysis, of: Equipment) -> Recall:
    """Return a stored recall of an analyser, which puts a record in doubt."""
    recall = Recall(site=of.site, equipment=of, last_good_on=date(2020, 1, 1), found_on=date(2026, 1, 1), why="drifted")
    stored = services.add(recall, by=BY)
    row.doubted_by = stored
    services.change(row, by=BY, reason="reference bad", shown_version=row.row_version, action="put in doubt")
    return stored
