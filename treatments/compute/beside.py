"""A recorded profile beside a hand-written log: each line of the log that names a depth, with what the record has.

Both are shown with the difference. Neither is taken for the truth: a gauge may drift, a clock may be wrong, a line
may have been written late.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from treatments.compute.segmentation import Piece, PieceKind

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

REACHED = frozenset({"reached_depth", "reached_stop"})
LEFT = frozenset({"left_depth", "left_stop"})
LEFT_SURFACE, REACHED_SURFACE = "left_surface", "reached_surface"


@dataclass(frozen=True, slots=True)
class Line:
    """A line of the log: its row, kind, minute from leaving the surface as logged, depth in fsw gauge."""

    key: int
    kind: str
    minute: float
    depth_fsw: float


@dataclass(frozen=True, slots=True)
class Found:
    """A line with what the record has. Units: fsw, minutes; recorded less logged.

    ``recorded_fsw`` None: the record has nothing at that minute; ``in_gap``: because of a gap.
    ``recorded_min`` None: the record shows no such event.
    """

    line: Line
    recorded_fsw: float | None
    recorded_min: float | None
    in_gap: bool
    depth_differs: bool
    time_differs: bool

    @property
    def apart_fsw(self) -> float | None:
        """How much deeper the record is."""
        return None if self.recorded_fsw is None else self.recorded_fsw - self.line.depth_fsw

    @property
    def apart_min(self) -> float | None:
        """How much later the record has it."""
        return None if self.recorded_min is None else self.recorded_min - self.line.minute


@dataclass(frozen=True, slots=True)
class Spread:
    """Where single samples stand apart from their piece: how many, and the furthest. Minutes, fsw."""

    count: int
    minute: float
    sample_fsw: float
    piece_fsw: float


def moved(pieces: Iterable[Piece], offset_min: float) -> tuple[Piece, ...]:
    """Return pieces on the clock of the run: ``offset_min`` is the minute of the record that left the surface."""
    return tuple(
        Piece(one.kind, one.start_min - offset_min, one.end_min - offset_min, one.start_fsw, one.end_fsw)
        for one in pieces
    )


def piece_at(minute: float, pieces: Sequence[Piece]) -> Piece | None:
    """Return the piece that a minute lies in; at a meeting point the one that is no gap."""
    found = [one for one in pieces if one.start_min <= minute <= one.end_min]
    return next((one for one in found if one.kind is not PieceKind.GAP), found[0] if found else None)


def depth_in(piece: Piece, minute: float) -> float:
    """Return the depth of a piece at a minute, fsw gauge."""
    if piece.minutes <= 0:
        return piece.end_fsw
    return piece.start_fsw + (piece.end_fsw - piece.start_fsw) * (minute - piece.start_min) / piece.minutes


def beside(
    lines: Iterable[Line], pieces: Sequence[Piece], tolerance_fsw: float, tolerance_min: float
) -> tuple[Found, ...]:
    """Return each line with what the record has, on one clock: minutes from leaving the surface.

    A reading of depth is held against the depth at its minute. An arrival or a departure is held against the
    nearest stop of the record at that depth, and its depth against that stop.
    """
    return tuple(_found(line, pieces, tolerance_fsw, tolerance_min) for line in lines)


def _found(line: Line, pieces: Sequence[Piece], tolerance_fsw: float, tolerance_min: float) -> Found:
    here = piece_at(line.minute, pieces)
    in_gap = here is not None and here.kind is PieceKind.GAP
    depth = None if here is None or in_gap else depth_in(here, line.minute)
    event = _event(line, pieces, tolerance_fsw)
    is_event = line.kind in REACHED | LEFT | {LEFT_SURFACE, REACHED_SURFACE}
    time_differs = is_event and (event is None or abs(event - line.minute) > tolerance_min) and not in_gap
    slack = tolerance_fsw if event is None else tolerance_fsw + _travel(line, pieces, event)
    differs = depth is not None and abs(depth - line.depth_fsw) > slack
    return Found(line, depth, event, in_gap, differs, time_differs)


def _travel(line: Line, pieces: Sequence[Piece], event: float) -> float:
    """Return how much depth changes between the logged and the recorded minute of one event; told as time, once."""
    ends = [piece_at(minute, pieces) for minute in (line.minute, event)]
    if ends[0] is None or ends[1] is None:
        return 0.0
    return abs(depth_in(ends[0], line.minute) - depth_in(ends[1], event))


def _event(line: Line, pieces: Sequence[Piece], tolerance_fsw: float) -> float | None:
    """Return the minute at which the record has what a line tells."""
    if line.kind == LEFT_SURFACE:
        return next((one.start_min for one in pieces if one.kind is PieceKind.DESCENT), None)
    if line.kind == REACHED_SURFACE:
        ascents = [one.end_min for one in pieces if one.kind is PieceKind.ASCENT and one.end_fsw <= tolerance_fsw]
        return ascents[-1] if ascents else None
    if line.kind not in REACHED | LEFT:
        return None
    stops = [
        one for one in pieces if one.kind is PieceKind.STOP and abs(one.start_fsw - line.depth_fsw) <= tolerance_fsw
    ]
    minutes = [one.start_min if line.kind in REACHED else one.end_min for one in stops]
    return min(minutes, key=lambda minute: abs(minute - line.minute), default=None)


def not_in_log(
    pieces: Iterable[Piece], lines: Sequence[Line], tolerance_fsw: float, shortest_min: float
) -> tuple[Piece, ...]:
    """Return the stops of the record, below the surface and no shorter, at whose depth no line of the log stands."""
    return tuple(
        one
        for one in pieces
        if one.kind is PieceKind.STOP
        and one.start_fsw > tolerance_fsw
        and one.minutes >= shortest_min
        and not any(abs(line.depth_fsw - one.start_fsw) <= tolerance_fsw for line in lines)
    )


def spread(
    times_s: Sequence[float], depths_fsw: Sequence[float], pieces: Sequence[Piece], tolerance_fsw: float
) -> Spread | None:
    """Return how far single samples stand from the pieces, if any does by more than the tolerance.

    Units: seconds and minutes from the first sample, fsw. Pieces smooth; this says what they leave out.
    """
    count, worst = 0, tolerance_fsw
    found: Spread | None = None
    place = 0
    for second, depth in zip(times_s, depths_fsw, strict=True):
        minute = second / 60
        while place < len(pieces) - 1 and minute > pieces[place].end_min:
            place += 1
        expected = depth_in(pieces[place], minute)
        apart = abs(depth - expected)
        if apart > tolerance_fsw:
            count += 1
            if apart > worst:
                worst = apart
                found = Spread(count, minute, depth, expected)
    return None if found is None else Spread(count, found.minute, found.sample_fsw, found.piece_fsw)
