"""A stored profile beside the run's log: every line that names a depth, and what only the record has."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from facility.compute.units import UnitError, kpa_from, pressure_to
from facility.reference import units
from treatments.compute.beside import (
    LEFT_SURFACE,
    REACHED_SURFACE,
    Found,
    Line,
    beside,
    moved,
    not_in_log,
)
from treatments.compute.segmentation import Piece, PieceKind
from treatments.models import LogEntry
from treatments.reference.laws import tolerances

if TYPE_CHECKING:
    from collections.abc import Iterable

    from treatments.models import RecordedProfile, Run


@dataclass(frozen=True, slots=True)
class Beside:
    """A record beside the log. ``rows``: each line with its entry; ``only_recorded``: stops that no line names."""

    pieces: tuple[Piece, ...]
    rows: tuple[tuple[LogEntry, Found], ...]
    only_recorded: tuple[Piece, ...]

    @property
    def differing(self) -> list[tuple[LogEntry, Found]]:
        """Lines that differ from the record by more than the tolerance."""
        return [(entry, one) for entry, one in self.rows if one.depth_differs or one.time_differs]

    @property
    def in_gaps(self) -> list[tuple[LogEntry, Found]]:
        """Lines at a time when nothing was recorded."""
        return [(entry, one) for entry, one in self.rows if one.in_gap]

    @property
    def largest_fsw(self) -> float | None:
        """The largest difference of depth among the lines that differ, without sign."""
        return max((abs(one.apart_fsw) for _, one in self.rows if one.depth_differs and one.apart_fsw), default=None)

    @property
    def largest_min(self) -> float | None:
        """The largest difference of time among the lines that differ, without sign."""
        return max((abs(one.apart_min) for _, one in self.rows if one.time_differs and one.apart_min), default=None)


def pieces_of(row: RecordedProfile) -> tuple[Piece, ...]:
    """Return the pieces of a stored profile on the run's clock: minutes from leaving the surface."""
    return moved((Piece(PieceKind(kind), *values) for kind, *values in row.pieces), row.offset_s / 60)


def fsw_of(depth: Decimal, unit: str) -> float | None:
    """Return a logged depth in fsw gauge; None for a unit that is not known."""
    try:
        return float(pressure_to(kpa_from(depth, unit, units()), "fsw", units()))
    except UnitError:
        return None


def lines_of(run: Run, entries: Iterable[LogEntry]) -> list[tuple[LogEntry, Line]]:
    """Return the lines that name a depth, leaving and reaching the surface among them."""
    found = []
    for entry in entries:
        depth = fsw_of(entry.depth, entry.depth_unit) if entry.depth is not None else None
        if entry.kind in {LEFT_SURFACE, REACHED_SURFACE}:
            depth = 0.0
        if depth is None or entry.occurred_at is None or run.started_at is None:
            continue
        minute = (entry.occurred_at - run.started_at).total_seconds() / 60
        found.append((entry, Line(entry.pk, entry.kind, minute, depth)))
    return found


def beside_log(row: RecordedProfile) -> Beside:
    """Return a stored profile beside the current lines of its run's log."""
    entries = LogEntry.objects.filter(run=row.run, retired_at=None).order_by("occurred_at", "id")
    found = lines_of(row.run, entries)
    lines = [line for _, line in found]
    pieces, limits = pieces_of(row), tolerances()
    rows = beside(lines, pieces, limits.depth_fsw, limits.stop_min)
    return Beside(
        pieces,
        tuple(zip((entry for entry, _ in found), rows, strict=True)),
        not_in_log(pieces, lines, limits.depth_fsw, limits.stop_min) if lines else (),
    )
