"""The planned clock moved by what happened: by real arrivals and leavings, and by the oxygen of one person.

A period of oxygen that is broken off goes on where it was broken off. Minutes from leaving the surface, fsw gauge.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import TYPE_CHECKING

from treatments.compute.clock import Due, PlannedEvent, due_between
from treatments.compute.profile import Profile
from treatments.compute.tables import AIR, OXYGEN, Segment, StopClock

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from treatments.compute.conformity import Tolerances
    from treatments.compute.logbook import Track
    from treatments.compute.phases import Breathing

NO_TIME = 1e-6
#: two depths this close are the same figure typed twice
EXACT_FSW = 0.01


@dataclass(frozen=True, slots=True)
class Moved:
    """A plan as moved. ``due``: when each segment ends by the table; ``ends``: when it ended, or is to end at best.

    ``place``: the segment that the run is in; the ones before it are done. ``depth_fsw``: planned depth now.
    """

    plan: Profile
    due: tuple[float, ...]
    ends: tuple[float, ...]
    place: int
    depth_fsw: float

    @property
    def over(self) -> bool:
        """Whether every segment is done."""
        return self.place >= len(self.plan.segments)

    @property
    def segments(self) -> tuple[Segment, ...]:
        """The plan with the minutes that its segments took or are to take."""
        spans = zip(self.plan.segments, pairwise((0.0, *self.ends)), strict=True)
        return tuple(replace(one, minutes=end - start) for one, (start, end) in spans if end - start > NO_TIME)

    def events(self) -> Iterator[tuple[PlannedEvent, bool]]:
        """Yield what was or is due, in order, and whether it is done."""
        plan = self.plan.segments
        for place, (one, after) in enumerate(pairwise(plan)):
            for due in due_between(one, after):
                yield PlannedEvent(self.due[place], due, after.start_fsw), place < self.place
        yield PlannedEvent(self.due[-1], Due.REACH_SURFACE, 0.0), self.over


@dataclass(slots=True)
class _Walk:
    """Where a walk along the plan stands: segment, minutes counted in it, when it began, minutes waited for oxygen.

    ``spent``: minutes on the gas of the segment in the segment itself, without what the travel before it gave or took.
    """

    plan: Profile
    tolerances: Tolerances
    place: int = 0
    counted: float = 0.0
    began: float = 0.0
    waited: float = 0.0
    spent: float = 0.0
    fresh: bool = True
    due: dict[int, float] = field(default_factory=dict)
    ends: dict[int, float] = field(default_factory=dict)

    @property
    def segment(self) -> Segment:
        return self.plan.segments[self.place]

    @property
    def after(self) -> Segment | None:
        return self.plan.segments[self.place + 1] if self.place + 1 < len(self.plan.segments) else None

    @property
    def going(self) -> bool:
        return self.place < len(self.plan.segments)

    def near(self, depth: float, other: float) -> bool:
        return abs(depth - other) <= self.tolerances.depth_fsw

    def next(self, minute: float, *, counted: float = 0.0) -> None:
        """Go on to the next segment at a minute."""
        self.due.setdefault(self.place, minute)
        self.ends[self.place] = minute
        arrived = not self.segment.is_stop
        self.place += 1
        self.began, self.counted, self.waited, self.spent = minute, counted, 0.0, 0.0
        self.fresh = arrived

    def arrive(self, minute: float) -> None:
        """Reach the end of a change of depth; where the table counts the travel, what it took too much is counted."""
        extra = 0.0
        first = self.place == 0
        if (first and self.plan.clock is StopClock.SURFACE) or (not first and self.plan.clock is StopClock.DEEPER_STEP):
            extra = (minute - self.began) - self.segment.minutes
        self.next(minute, counted=extra)

    def leave(self, minute: float) -> None:
        """Leave the stop: whatever of it is left is over."""
        while self.going and self.segment.is_stop:
            self.next(minute)


def moved(plan: Profile, depth: Track, breathed: Sequence[Breathing] | None, tolerances: Tolerances) -> Moved:
    """Return a plan as moved by a log.

    ``depth``: with its stops levelled. ``breathed``: of the person whose oxygen is followed; None follows the minutes
    alone. Valid: up to the tolerance late, oxygen counts from arrival at the stop, as the oxygen tables say.
    """
    walk = _Walk(plan, tolerances)
    known = [one[0] for one in depth.points if one[0] <= depth.logged_until + NO_TIME]
    _through(walk, depth, breathed, known)
    if depth.leaving and depth.logged_until > NO_TIME:
        walk.leave(depth.logged_until)
    elif walk.going and walk.segment.is_stop:
        _through(walk, depth, breathed, [depth.logged_until, depth.until])
    return _finished(walk, depth)


def _through(walk: _Walk, depth: Track, breathed: Sequence[Breathing] | None, minutes: Sequence[float]) -> None:
    """Walk the log from the first of the minutes to the last, cut also where the gas changes."""
    changes = {one.start_min for one in breathed or ()}
    cuts = sorted({*minutes, *(one for one in changes if minutes[0] < one < minutes[-1])})
    for start, end in pairwise(cuts):
        if walk.going and end - start > NO_TIME:
            _pass(walk, depth, (start, end), _gas(breathed, start))


def _gas(breathed: Sequence[Breathing] | None, minute: float) -> str | None:
    if breathed is None:
        return None
    return next((one.gas for one in breathed if one.start_min <= minute < one.end_min), AIR)


def _pass(walk: _Walk, depth: Track, span: tuple[float, float], gas: str | None) -> None:
    """Walk one stretch of the log, straight in depth and on one gas."""
    minute, end = span
    start_fsw, end_fsw = depth.depth_at(minute), depth.depth_at(end)
    while walk.going:
        one = walk.segment
        if one.is_stop and _left(walk, start_fsw, end_fsw):
            walk.leave(minute)
        elif one.is_stop:
            minute = _stay(walk, minute, end, gas)
            if minute >= end - NO_TIME:
                return
        elif _passed(walk, one, end_fsw):
            walk.arrive(end)
            walk.leave(end)
        else:
            if abs(end_fsw - one.end_fsw) <= EXACT_FSW or (walk.near(end_fsw, one.end_fsw) and _stays(depth, end)):
                walk.arrive(end)
            return


def _stays(depth: Track, minute: float) -> bool:
    """Return whether the depth stays after a minute; at the end of the log unless the run is under way."""
    later = next((one for one in depth.points if one[0] > minute + NO_TIME), None)
    if later is None:
        return not (depth.leaving or depth.moving)
    return abs(later[1] - depth.depth_at(minute)) <= EXACT_FSW


def _left(walk: _Walk, start: float, end: float) -> bool:
    """Return whether the depth leaves the stop upwards."""
    depth = walk.segment.start_fsw
    return end < min(start, depth) - EXACT_FSW and not walk.near(end, depth)


def _passed(walk: _Walk, one: Segment, end: float) -> bool:
    """Return whether an ascent went on past the stop that it led to."""
    return one.end_fsw < one.start_fsw and one.end_fsw > 0 and end < one.end_fsw and not walk.near(end, one.end_fsw)


def _stay(walk: _Walk, minute: float, end: float, gas: str | None) -> float:
    """Count time at a stop; return the minute up to which it was used: the end, or where the next segment began."""
    one, after = walk.segment, walk.after
    if gas is not None and gas != one.gas and _goes_over(walk, gas):
        walk.next(minute)
        return minute
    if gas is not None and gas != one.gas and one.gas in (OXYGEN, AIR):
        if walk.fresh and one.gas == OXYGEN:
            walk.waited += end - minute
        return end
    _begin(walk)
    walk.spent += end - minute
    full = minute + one.minutes - walk.counted
    if full > end + NO_TIME:
        walk.counted += end - minute
        return end
    walk.due.setdefault(walk.place, full)
    if after is not None and after.is_stop and gas in (None, after.gas):
        walk.next(full)
        return full
    walk.counted = one.minutes
    return end


def _begin(walk: _Walk) -> None:
    """Count the minutes waited for oxygen after arrival, if they are within the tolerance."""
    if walk.waited <= walk.tolerances.oxygen_start_min:
        walk.counted += walk.waited
    walk.waited, walk.fresh = 0.0, False


def _goes_over(walk: _Walk, gas: str) -> bool:
    """Return whether a change of gas begins the next segment, rather than breaking this one off."""
    one, after = walk.segment, walk.after
    if after is None or not after.is_stop or after.gas != gas:
        return False
    if one.gas == AIR:
        return walk.spent > NO_TIME
    return walk.counted >= one.minutes - walk.tolerances.oxygen_min


def _finished(walk: _Walk, depth: Track) -> Moved:
    """Put in what is still to come, each segment at its planned minutes from where the run is."""
    place, here = walk.place, 0.0
    if walk.going:
        here = _at_stop(walk, depth) if walk.segment.is_stop else _under_way(walk, depth)
        walk.ends[place] = max(walk.due[place], depth.until)
        _to_come(walk, place)
    count = len(walk.plan.segments)
    due, ends = (tuple(found[n] for n in range(count)) for found in (walk.due, walk.ends))
    return Moved(walk.plan, due, ends, place, here)


def _at_stop(walk: _Walk, depth: Track) -> float:
    """Put in when the segment of a stop is due to end; return the planned depth."""
    one = walk.segment
    waited = walk.waited if walk.waited <= walk.tolerances.oxygen_start_min else 0.0
    walk.due.setdefault(walk.place, depth.until + max(0.0, one.minutes - walk.counted - waited))
    return one.start_fsw


def _under_way(walk: _Walk, depth: Track) -> float:
    """Put in when a change of depth is due to end, at its planned rate; return the planned depth."""
    one, last = walk.segment, depth.depth_at(depth.logged_until)
    since = depth.logged_until if depth.leaving or depth.moving else depth.until
    left, rate = abs(last - one.end_fsw), abs(one.ascent_rate)
    walk.due.setdefault(walk.place, since + left / rate)
    gone = min(rate * (depth.until - since), left)
    return last + gone if one.end_fsw > last else last - gone


def _to_come(walk: _Walk, place: int) -> None:
    plan = walk.plan
    for n in range(place + 1, len(plan.segments)):
        minutes = plan.segments[n].minutes
        if n == 1 and plan.clock is StopClock.SURFACE:
            minutes = max(0.0, minutes - (walk.ends[0] - plan.descent.minutes))
        walk.ends[n] = walk.due[n] = walk.ends[n - 1] + minutes
