"""What a run computes, from its rows: the one door for pages, the log screen, documents and the ledger."""

from __future__ import annotations

from typing import TYPE_CHECKING

from treatments.compute.waits import waits
from treatments.figures.air import carbon_dioxide_seen, temperature, ventilation
from treatments.figures.gas import gas_used
from treatments.figures.people import conformity, people, tender_events
from treatments.figures.recordings import recorded
from treatments.figures.remarks import remarks
from treatments.figures.rows import rows_of
from treatments.figures.shape import (
    Air,
    BankUsed,
    Co2Seen,
    Conformity,
    DepthNow,
    Dose,
    Figures,
    GasUsed,
    PersonFigures,
    PlannedAt,
    RateDone,
    Recorded,
    StopDone,
    TableUsed,
    Temperature,
    TenderOwed,
    Ventilation,
)
from treatments.figures.timing import depth_now, events_of, rates_done, stops_done, timing
from treatments.reference.laws import wait_rules

if TYPE_CHECKING:
    from datetime import datetime

    from treatments.compute.waits import Wait
    from treatments.figures.rows import Rows
    from treatments.figures.timing import Timing
    from treatments.models import Run

__all__ = [
    "Air", "BankUsed", "Co2Seen", "Conformity", "DepthNow", "Dose", "Figures", "GasUsed", "PersonFigures", "PlannedAt",
    "RateDone", "Recorded", "StopDone", "TableUsed", "Temperature", "TenderOwed", "Ventilation", "figures_from", "figures_of",
]  # fmt: skip


def figures_of(run: Run, now: datetime) -> Figures:
    """Return everything that a run computes as of an instant: the same while it is on and afterwards.

    ``run``: its chamber with the site, its lock and its plan are read if they were not fetched with it. Entries that
    happened after ``now`` are left out. Errors: TableError if the stored table makes no sense.
    """
    return figures_from(rows_of(run, now))


def figures_from(rows: Rows) -> Figures:
    """Return the same from rows that were read before. Nothing is asked of the database."""
    found = timing(rows)
    run, last = rows.run, found.last
    persons = people(found)
    events, next_events = events_of(found, tender_events(found, persons))
    ended = rows.instant(rows.until) if rows.over and run.started_at is not None else None
    planned_end = rows.instant(last.ends[-1]) if last is not None and run.started_at is not None else None
    surfaced = ended or planned_end
    return Figures(
        run_pk=run.pk, as_of=rows.now, zone=rows.zone, started_at=run.started_at, ended_at=ended,
        elapsed_min=rows.until, used=_used(found), extensions=found.extensions, plan=found.plan,
        moved=() if last is None else last.segments,
        moved_min=None if last is None or found.plan is None else last.ends[-1] - found.plan.run_minutes,
        planned_end_at=planned_end, events=events, next_events=next_events, depth=depth_now(found), track=found.track,
        stops=stops_done(found), rates=rates_done(found), people=persons, conformity=conformity(found, persons),
        co2=carbon_dioxide_seen(found), ventilation=ventilation(found), temperature=temperature(found),
        gas=gas_used(found, persons), waits=_waits(found, surfaced), waits_from=surfaced,
        waits_projected=ended is None, recorded=recorded(found), readings=_readings(found), remarks=remarks(found),
    )  # fmt: skip


def _used(found: Timing) -> TableUsed | None:
    run, table = found.rows.run, found.rows.table
    return None if table is None else TableUsed(run.table_key, run.table_version, run.table_standing, table)


def _waits(found: Timing, surfaced: datetime | None) -> tuple[Wait, ...]:
    if surfaced is None:
        return ()
    return waits(found.rows.run.table_key, surfaced, found.rows.zone, wait_rules())


#: what is drawn beside the profile: key of the log, what it is, its unit
DRAWN = (
    ("o2_percent", "O2", "%"),
    ("co2_percent", "CO2 SEV", "%"),
    ("temperature_c", "temperature", "°C"),
    ("humidity_percent", "humidity", "%"),
    ("ventilation_acfm", "ventilation", "acfm"),
)


def _readings(found: Timing) -> tuple[tuple[datetime, str, str, str], ...]:
    """Return each logged reading: when, what, the value as typed, its unit."""
    return tuple(
        (found.rows.instant(one.minute), what, str(one.values[key]), unit)
        for one in found.rows.entries
        for key, what, unit in DRAWN
        if one.values.get(key)
    )
