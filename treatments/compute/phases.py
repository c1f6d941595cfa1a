"""What was done, as stops and changes of depth: from log points to segments, from segments to phases."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from math import isfinite
from typing import TYPE_CHECKING

from treatments.compute.tables import Segment, StopClock

if TYPE_CHECKING:
    from collections.abc import Sequence

#: gas of a piece of which only the depth was recorded
NOT_RECORDED = ""


class LogError(ValueError):
    """A log that cannot be laid against a plan: what, which value, what is allowed."""


@dataclass(frozen=True, slots=True)
class Point:
    """A line of the log: minute from leaving the surface, depth in fsw gauge, gas breathed from then on."""

    minute: float
    depth_fsw: float
    gas: str = NOT_RECORDED


@dataclass(frozen=True, slots=True)
class Phase:
    """A stop, or a change of depth in one direction, whatever is breathed. Minutes from leaving the surface."""

    start_min: float
    end_min: float
    start_fsw: float
    end_fsw: float

    @property
    def is_stop(self) -> bool:
        """Whether the depth stays."""
        return self.start_fsw == self.end_fsw

    @property
    def minutes(self) -> float:
        """The length."""
        return self.end_min - self.start_min


@dataclass(frozen=True, slots=True)
class Breathing:
    """A stretch of one gas."""

    gas: str
    start_min: float
    end_min: float

    @property
    def minutes(self) -> float:
        """The length."""
        return self.end_min - self.start_min


def logged(points: Sequence[Point]) -> tuple[Segment, ...]:
    """Return the segments between log points, the depth straight between them.

    Errors: LogError for fewer than two points, a time that does not advance, a depth below 0 or not finite.

    >>> logged([Point(0, 0, "AIR"), Point(3, 60, "O2"), Point(23, 60)])[1]
    Segment(start_fsw=60, end_fsw=60, minutes=20, gas='O2')
    """
    if len(points) <= 1:
        raise LogError(f"log: {len(points)} points are not taken. Allowed: at least 2.")
    for place, one in enumerate(points, 1):
        if not (isfinite(one.depth_fsw) and one.depth_fsw >= 0 and isfinite(one.minute)):
            raise LogError(f"log, point {place}: {one.depth_fsw} fsw at {one.minute} min. Allowed: 0 fsw or more.")
    for place, (one, after) in enumerate(pairwise(points), 2):
        if after.minute <= one.minute:
            raise LogError(
                f"log, point {place}, minute: {after.minute:g} is not taken. Allowed: after {one.minute:g}, the one before."
            )
    return tuple(
        Segment(one.depth_fsw, after.depth_fsw, after.minute - one.minute, one.gas) for one, after in pairwise(points)
    )


def phases(segments: Sequence[Segment], same_fsw: float) -> tuple[Phase, ...]:
    """Return the phases of segments.

    Stops in a row, and stops that a change of ``same_fsw`` or less parts, are one stop at the first depth.
    """
    joined: list[Phase] = []
    start = 0.0
    for one in segments:
        phase = Phase(start, start + one.minutes, one.start_fsw, one.end_fsw)
        start = phase.end_min
        if joined and _goes_on(joined[-1], phase):
            joined[-1] = replace(joined[-1], end_min=phase.end_min, end_fsw=phase.end_fsw)
        else:
            joined.append(phase)
    return tuple(_without_wobble(joined, same_fsw))


def _goes_on(one: Phase, after: Phase) -> bool:
    if one.is_stop or after.is_stop:
        return one.is_stop and after.is_stop and one.end_fsw == after.start_fsw
    return (one.end_fsw < one.start_fsw) == (after.end_fsw < after.start_fsw)


def _without_wobble(found: Sequence[Phase], same_fsw: float) -> list[Phase]:
    kept: list[Phase] = []
    for one in found:
        if kept and kept[-1].is_stop and abs(one.end_fsw - kept[-1].start_fsw) <= same_fsw and _near(one, same_fsw):
            kept[-1] = replace(kept[-1], end_min=one.end_min)
        else:
            kept.append(one)
    return kept


def _near(one: Phase, same_fsw: float) -> bool:
    return abs(one.end_fsw - one.start_fsw) <= same_fsw


def stops(found: Sequence[Phase]) -> tuple[Phase, ...]:
    """Return the stops below the surface."""
    return tuple(one for one in found if one.is_stop and one.start_fsw > 0)


def stop_minutes(found: Sequence[Phase], place: int, clock: StopClock) -> float:
    """Return what counts as the time of a stop: by its clock with the travel before it, or without."""
    one = found[place]
    if clock is StopClock.SURFACE and place == 0:
        return one.end_min
    if clock is StopClock.DEEPER_STEP and place > 0:
        return one.end_min - found[place - 1].end_min
    return one.minutes


def breathed(segments: Sequence[Segment], start_min: float, end_min: float) -> tuple[Breathing, ...]:
    """Return what was breathed between two minutes, stretches of one gas in a row joined."""
    found: list[Breathing] = []
    minute = 0.0
    for one in segments:
        start, end = max(minute, start_min), min(minute + one.minutes, end_min)
        minute += one.minutes
        if start >= end:
            continue
        if found and found[-1].gas == one.gas:
            found[-1] = replace(found[-1], end_min=end)
        else:
            found.append(Breathing(one.gas, start, end))
    return tuple(found)
