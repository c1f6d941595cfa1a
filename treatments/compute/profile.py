"""The planned profile of a run on a table: extensions put in, the descent before or inside the first stop.

Depths gauge fsw, minutes from leaving the surface unless said otherwise.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import accumulate
from math import fsum
from typing import TYPE_CHECKING

from treatments.compute.tables import AIR, OXYGEN, Extension, Segment, StopClock, Table

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence


class ProfileError(ValueError):
    """A profile that a table does not state: what, which value, what is allowed."""

    def __init__(self, what: str, value: object, allowed: str) -> None:
        super().__init__(f"{what}: {value} is not taken. Allowed: {allowed}.")
        self.what, self.value, self.allowed = what, value, allowed


class Breaks(StrEnum):
    """Which air breaks are kept where a table lets its extensions go without. Store what was done."""

    KEPT = "kept"
    BEFORE_ASCENT = "before ascent"
    NONE = "none"


@dataclass(frozen=True, slots=True)
class Choices:
    """What was chosen for a run: extensions taken by depth, breaks, minutes of the first stop, depth of relief."""

    extensions: Mapping[float, int]
    breaks: Breaks = Breaks.KEPT
    first_stop_min: float | None = None
    relief_fsw: float | None = None


PLAIN = Choices({})


@dataclass(frozen=True, slots=True)
class Profile:
    """A run from leaving the surface to reaching it.

    ``descent`` is the first of ``segments``. ``table_minutes`` is the length by the clock of the
    table: from arrival, or from leaving the surface where the first stop includes the descent.
    """

    table: str
    clock: StopClock
    segments: tuple[Segment, ...]
    table_minutes: float

    @property
    def descent(self) -> Segment:
        """The compression."""
        return self.segments[0]

    @property
    def run_minutes(self) -> float:
        """The length from leaving the surface."""
        return self.ends[-1]

    @property
    def ends(self) -> tuple[float, ...]:
        """The minute at which each segment ends."""
        return tuple(accumulate(one.minutes for one in self.segments))


@dataclass(frozen=True, slots=True)
class Step:
    """A stop: depth, minute of arrival, minute of leaving."""

    depth_fsw: float
    arrive_min: float
    leave_min: float


def profile(table: Table, choices: Choices = PLAIN) -> Profile:
    """Return the planned profile of a table.

    Errors: ProfileError if an extension, a first stop or a depth is not stated by the table.
    Source: the table. Valid: descent at its nominal rate.

    >>> from treatments.reference import table as shipped
    >>> profile(shipped("TT6"), Choices({60: 2, 30: 2})).table_minutes
    485.0
    """
    segments = _relieved(table, choices.relief_fsw)
    segments = _first_stop(table, segments, choices.first_stop_min)
    segments = _extended(table, segments, choices)
    table_minutes = fsum(one.minutes for one in segments)
    bottom = segments[0].start_fsw
    descent = Segment(0.0, bottom, bottom / table.descent.rate_fsw_min, table.descent.gas)
    if table.clock is StopClock.SURFACE:
        segments = [replace(segments[0], minutes=segments[0].minutes - descent.minutes), *segments[1:]]
    return Profile(table.key, table.clock, (descent, *segments), table_minutes)


def depth_at(run: Profile, minute: float) -> float:
    """Return the planned depth.

    Units: ``minute`` from leaving the surface, result fsw. Errors: ProfileError outside the run.
    """
    place, into = _place(run, minute)
    one = run.segments[place]
    return one.start_fsw + (one.end_fsw - one.start_fsw) * (into / one.minutes)


def gas_at(run: Profile, minute: float) -> str:
    """Return the planned gas; at a change the new one. Errors: ProfileError outside the run."""
    return run.segments[_place(run, minute)[0]].gas


def oxygen_minutes(segments: Sequence[Segment]) -> float:
    """Return the minutes on oxygen."""
    return fsum(one.minutes for one in segments if one.gas == OXYGEN)


def steps(run: Profile) -> tuple[Step, ...]:
    """Return each stop with its minutes of arrival and leaving; stops at one depth in a row are one."""
    found: list[Step] = []
    start = 0.0
    for one, end in zip(run.segments, run.ends, strict=True):
        if one.is_stop:
            last = found[-1] if found else None
            if last is not None and last.depth_fsw == one.start_fsw and last.leave_min == start:
                found[-1] = replace(last, leave_min=end)
            else:
                found.append(Step(one.start_fsw, start, end))
        start = end
    return tuple(found)


def _place(run: Profile, minute: float) -> tuple[int, float]:
    ends = run.ends
    if not 0 <= minute <= ends[-1]:
        raise ProfileError("minute", f"{minute:g}", f"0 to {ends[-1]:g}, the length of the run")
    place = min(bisect_right(ends, minute), len(ends) - 1)
    return place, minute - (ends[place] - run.segments[place].minutes)


def _relieved(table: Table, relief_fsw: float | None) -> list[Segment]:
    """Return the segments with the first stop at the depth of relief and the ascent from there at the same rate."""
    segments = list(table.segments)
    first, ascent = segments[0], segments[1]
    if relief_fsw is None or relief_fsw == first.start_fsw:
        return segments
    if not table.depth_of_relief:
        raise ProfileError("depth of relief", f"{relief_fsw:g} fsw", f"none; {table.title} states its own depth")
    if not ascent.end_fsw < relief_fsw < first.start_fsw:
        limits = f"more than {ascent.end_fsw:g} up to {first.start_fsw:g} fsw"
        raise ProfileError("depth of relief", f"{relief_fsw:g} fsw", limits)
    minutes = (relief_fsw - ascent.end_fsw) / ascent.ascent_rate
    moved = replace(first, start_fsw=relief_fsw, end_fsw=relief_fsw)
    return [moved, replace(ascent, start_fsw=relief_fsw, minutes=minutes), *segments[2:]]


def _first_stop(table: Table, segments: list[Segment], minutes: float | None) -> list[Segment]:
    if minutes is None:
        return segments
    if table.first_stop is None:
        raise ProfileError("first stop", f"{minutes:g} min", f"none; {table.title} states its own minutes")
    least, most = table.first_stop
    if minutes < least or (most is not None and minutes > most):
        allowed = f"{least:g} min or more" if most is None else f"{least:g} to {most:g} min"
        raise ProfileError("first stop", f"{minutes:g} min", f"{allowed} on {table.title}")
    return [replace(segments[0], minutes=minutes), *segments[1:]]


def _extended(table: Table, segments: list[Segment], choices: Choices) -> list[Segment]:
    known = {one.depth_fsw: one for one in table.extensions}
    for depth, count in choices.extensions.items():
        if count == 0:
            continue
        extension = known.get(depth)
        if extension is None:
            allowed = f"0; {table.title} states none there: ask the physician"
            raise ProfileError(f"extensions at {depth:g} fsw", count, allowed)
        if count not in range(1, extension.allowed + 1):
            allowed = f"0 to {extension.allowed}; more is not stated: ask the physician"
            raise ProfileError(f"extensions at {depth:g} fsw", count, allowed)
        segments = _with(table, segments, extension, count, choices.breaks)
    return segments


def _with(table: Table, segments: list[Segment], extension: Extension, count: int, breaks: Breaks) -> list[Segment]:
    """Return the segments with ``count`` extensions put in before the depth is left."""
    leaving = max(n for n, one in enumerate(segments) if one.is_stop and one.start_fsw == extension.depth_fsw) + 1
    before, after = segments[:leaving], segments[leaving:]
    if breaks is Breaks.KEPT:
        return [*before, *extension.segments * count, *after]
    if not extension.breaks_may_be_left_out:
        raise ProfileError("breaks", repr(str(breaks)), f"kept; {table.title} keeps its air breaks")
    periods = [one for one in extension.segments if one.gas != AIR] * count
    last = before.pop()
    return [*before, *periods, *([last] if breaks is Breaks.BEFORE_ASCENT else []), *after]
