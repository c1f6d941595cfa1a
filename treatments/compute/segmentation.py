"""A recorded profile (time and depth, up to one sample a second) cut into stops, ramps and gaps.

In linear time: middle values of short bins take out noise and single spikes; straight pieces grow while one
line stays within a tolerance of every point; neighbours of one kind are joined, and their meeting point is
where their fitted lines cross. A gap stays a gap: nothing is drawn across it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import pairwise
from math import inf, isfinite
from statistics import median
from typing import TYPE_CHECKING

from treatments.compute.fitting import Fit

if TYPE_CHECKING:
    from collections.abc import Sequence


class SegmentationError(ValueError):
    """A record that cannot be cut: which sample, which value, what is allowed."""


class PieceKind(StrEnum):
    """What a piece of a record is."""

    STOP = "stop"
    ASCENT = "ascent"
    DESCENT = "descent"
    GAP = "gap"


@dataclass(frozen=True, slots=True)
class Settings:
    """How a record is cut. Units: seconds, fsw, fsw/min, minutes."""

    gap_s: float
    bin_s: float
    tolerance_fsw: float
    hold_rate_fsw_min: float
    same_fsw: float
    shortest_min: float


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece of a record. Minutes as recorded, fsw gauge; a gap runs from the depth before it to the one after."""

    kind: PieceKind
    start_min: float
    end_min: float
    start_fsw: float
    end_fsw: float

    @property
    def minutes(self) -> float:
        """The length."""
        return self.end_min - self.start_min


@dataclass(frozen=True, slots=True)
class _Part:
    """A straight piece with the sums of its points."""

    kind: PieceKind
    fit: Fit
    start_min: float
    end_min: float


Sample = tuple[float, float]  # minute, fsw
#: two ramps in a row are one if the faster is at most this much faster; own choice
SAME_RATE = 1.5
#: a piece is fitted again from no fewer points than this; own choice
FEWEST = 4


def cut(times_s: Sequence[float], depths_fsw: Sequence[float], settings: Settings) -> tuple[Piece, ...]:
    """Return the pieces of a record, in order and without holes.

    Units: seconds from any start, fsw gauge.
    Errors: SegmentationError naming the first sample that is not finite or does not advance in time.
    Valid: noise well below ``tolerance_fsw`` (a gauge read in whole feet widens it by itself); a drift slower
    than ``hold_rate_fsw_min`` is a stop.
    """
    _check(times_s, depths_fsw)
    tolerance = max(settings.tolerance_fsw, 1.05 * _step(depths_fsw))
    pieces: list[Piece] = []
    for first, last in _stretches(times_s, settings.gap_s):
        bins = _bins(times_s[first:last], depths_fsw[first:last], settings.bin_s)
        parts = _refined(_joined(_parts(bins, tolerance, settings), settings), bins, tolerance)
        found = _pieces(parts, (times_s[first] / 60, times_s[last - 1] / 60))
        if pieces and found:
            before, after = pieces[-1], found[0]
            pieces.append(Piece(PieceKind.GAP, before.end_min, after.start_min, before.end_fsw, after.start_fsw))
        pieces += found
    return tuple(pieces)


def _check(times_s: Sequence[float], depths_fsw: Sequence[float]) -> None:
    if len(times_s) != len(depths_fsw) or len(times_s) <= 1:
        raise SegmentationError(
            f"record: {len(times_s)} times and {len(depths_fsw)} depths are not taken. Allowed: at least 2, as many of each."
        )
    last = -inf
    for place, (time, depth) in enumerate(zip(times_s, depths_fsw, strict=True), 1):
        if not (isfinite(time) and isfinite(depth)):
            raise SegmentationError(f"sample {place}: {time} s, {depth} fsw are not taken. Allowed: finite numbers.")
        if time <= last:
            raise SegmentationError(
                f"sample {place}, time: {time:g} s is not taken. Allowed: after {last:g} s, the one before;"
                " a clock that jumped must be put right first."
            )
        last = time


def _step(depths_fsw: Sequence[float]) -> float:
    """Return the step of a coarse gauge: the smallest change, if most samples repeat the one before."""
    changes = [abs(after - one) for one, after in pairwise(depths_fsw) if after != one]
    if len(changes) * 2 > len(depths_fsw):
        return 0.0
    return min(changes, default=0.0)


def _stretches(times_s: Sequence[float], gap_s: float) -> list[tuple[int, int]]:
    """Return first and past-last sample of each stretch without a gap; a lone sample is left to its gap."""
    starts = [0, *(n for n, (one, after) in enumerate(pairwise(times_s), 1) if after - one > gap_s)]
    ends = [*starts[1:], len(times_s)]
    return [(first, last) for first, last in zip(starts, ends, strict=True) if last - first > 1]


def _bins(times_s: Sequence[float], depths_fsw: Sequence[float], bin_s: float) -> list[Sample]:
    """Return the middle of each bin, smoothed once more over three bins where one stands apart."""
    found: list[Sample] = []
    times: list[float] = []
    depths: list[float] = []
    edge = times_s[0] + bin_s
    for time, depth in zip(times_s, depths_fsw, strict=True):
        if time >= edge:
            found.append((sum(times) / len(times) / 60, median(depths)))
            times, depths = [], []
            edge += bin_s * ((time - edge) // bin_s + 1)
        times.append(time)
        depths.append(depth)
    found.append((sum(times) / len(times) / 60, median(depths)))
    return [
        (one[0], median((found[max(n - 1, 0)][1], one[1], found[min(n + 1, len(found) - 1)][1])))
        for n, one in enumerate(found)
    ]


def _parts(bins: Sequence[Sample], tolerance: float, settings: Settings) -> list[_Part]:
    """Grow straight pieces: a piece ends where no line through its first point stays near all its points."""
    parts: list[_Part] = []
    begin = 0
    while begin < len(bins):
        minute, depth = bins[begin]
        low, high = -inf, inf
        end = begin + 1
        while end < len(bins):
            run = bins[end][0] - minute
            low = max(low, (bins[end][1] - tolerance - depth) / run)
            high = min(high, (bins[end][1] + tolerance - depth) / run)
            if low > high:
                break
            end += 1
        fit = Fit.of(bins[begin:end])
        parts.append(_Part(_kind(fit, settings), fit, minute, bins[end - 1][0]))
        begin = end
    return parts


def _kind(fit: Fit, settings: Settings) -> PieceKind:
    if abs(fit.slope) < settings.hold_rate_fsw_min:
        return PieceKind.STOP
    return PieceKind.ASCENT if fit.slope < 0 else PieceKind.DESCENT


def _joined(parts: Sequence[_Part], settings: Settings) -> list[_Part]:
    """Join neighbours that are one: two stops of one depth, two ramps of one rate, a scrap and what precedes it."""
    kept: list[_Part] = []
    for part in parts:
        while kept and _scrap(kept[-1], settings) and len(kept) > 1 and kept[-2].kind is part.kind:
            kept.pop()
        if kept and _one(kept[-1], part, settings):
            last = kept[-1]
            fit = last.fit + part.fit
            kept[-1] = replace(last, fit=fit, end_min=part.end_min)
        else:
            kept.append(part)
    return [part for part in kept if not _scrap(part, settings)] or kept[:1]


def _refined(parts: Sequence[_Part], bins: Sequence[Sample], tolerance: float) -> list[_Part]:
    """Fit each piece again without the ends, which the growing of pieces shares out unevenly at a bend."""
    meetings = [-inf, *(_meeting(one, after) for one, after in pairwise(parts)), inf]
    steepest = [max((abs(one.fit.slope), abs(after.fit.slope))) for one, after in pairwise(parts)]
    margins = [0.0, *(tolerance / slope if slope > 0 else 0.0 for slope in steepest), 0.0]
    found = []
    place = 0
    for n, part in enumerate(parts):
        first, last = meetings[n] + margins[n], meetings[n + 1] - margins[n + 1]
        inside = []
        while place < len(bins) and bins[place][0] < meetings[n + 1]:
            if first <= bins[place][0] <= last:
                inside.append(bins[place])
            place += 1
        enough = len(inside) * 2 >= part.fit.count and len(inside) >= FEWEST
        found.append(replace(part, fit=Fit.of(inside)) if enough else part)
    return found


def _scrap(part: _Part, settings: Settings) -> bool:
    return part.end_min - part.start_min < settings.shortest_min and part.kind is PieceKind.STOP


def _one(last: _Part, part: _Part, settings: Settings) -> bool:
    if last.kind is not part.kind:
        return False
    if part.kind is PieceKind.STOP:
        return abs(last.fit.mean_depth - part.fit.mean_depth) <= settings.same_fsw
    faster, slower = sorted((abs(last.fit.slope), abs(part.fit.slope)), reverse=True)
    return faster <= SAME_RATE * slower


def _pieces(parts: Sequence[_Part], ends: tuple[float, float]) -> list[Piece]:
    """Return pieces that meet where the lines of neighbours cross."""
    meetings = [_meeting(one, after) for one, after in pairwise(parts)]
    starts, stops = [ends[0], *meetings], [*meetings, ends[1]]
    found = []
    for part, start, stop in zip(parts, starts, stops, strict=True):
        if part.kind is PieceKind.STOP:
            depth = part.fit.mean_depth
            found.append(Piece(part.kind, start, stop, depth, depth))
        else:
            found.append(Piece(part.kind, start, stop, part.fit.at(start), part.fit.at(stop)))
    return found


def _meeting(one: _Part, after: _Part) -> float:
    """Return the minute where two lines cross, kept between the middles of the two pieces."""
    slope, level = one.fit.line(flat=one.kind is PieceKind.STOP)
    next_slope, next_level = after.fit.line(flat=after.kind is PieceKind.STOP)
    low, high = one.fit.mean_minute, after.fit.mean_minute
    if slope == next_slope:
        return (one.end_min + after.start_min) / 2
    return min(max((next_level - level) / (slope - next_slope), low), high)
