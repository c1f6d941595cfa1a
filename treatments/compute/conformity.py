"""A logged profile against the planned one: each departure with its size, its rule and where that comes from.

Departures are shown. None is judged, and none asks for anything: that is the supervisor's and the physician's.
What counts as a departure is the house's: the tolerances are arguments and travel with the result.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from math import inf
from typing import TYPE_CHECKING

from treatments.compute.phases import NOT_RECORDED, Breathing, Phase, breathed, phases, stop_minutes, stops
from treatments.compute.tables import OXYGEN, StopClock

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from treatments.compute.profile import Profile
    from treatments.compute.tables import Segment


class Departure(StrEnum):
    """How a log may depart from its plan."""

    FAST_ASCENT = "fast ascent"
    FAST_DESCENT = "fast descent"
    TOO_DEEP = "deeper than planned"
    SHORT_STOP = "short stop"
    LONG_STOP = "long stop"
    MISSED_STOP = "missed stop"
    UNPLANNED_STOP = "stop that was not planned"
    MISSED_OXYGEN = "missed oxygen"
    LATE_OXYGEN = "late oxygen"
    LATE_BREAK = "late air break"
    SHORT_BREAK = "short air break"
    LONG_BREAK = "long air break"
    OTHER_BREAKS = "other number of air breaks"


@dataclass(frozen=True, slots=True)
class Rule:
    """What a departure is measured by; source: a key of sources.toml, or "table" for the table of the plan."""

    text: str
    source: str


HOUSE = Rule("The planned figure with the tolerance of the house rules.", "house")
RULES = {
    Departure.FAST_ASCENT: Rule(
        "The planned rate is the fastest; after a faster ascent the handbook halts until the clock has caught up.",
        "usn-rev4a",
    ),
    Departure.FAST_DESCENT: Rule("The planned rate of compression, ears allowing.", "table"),
    Departure.LATE_OXYGEN: Rule("On the oxygen tables the time on oxygen begins on arrival at the stop.", "usn-rev4a"),
    Departure.MISSED_OXYGEN: Rule("The oxygen periods of the table.", "table"),
    Departure.LATE_BREAK: Rule("The air breaks of the table.", "table"),
    Departure.SHORT_BREAK: Rule("The air breaks of the table.", "table"),
    Departure.LONG_BREAK: Rule("The air breaks of the table.", "table"),
    Departure.OTHER_BREAKS: Rule("The air breaks of the table.", "table"),
}


@dataclass(frozen=True, slots=True)
class Tolerances:
    """When a difference counts. Units: fsw, minutes, fsw/min."""

    depth_fsw: float
    stop_min: float
    oxygen_start_min: float
    oxygen_min: float
    break_min: float
    rate_fsw_min: float
    descent_rate_fsw_min: float


@dataclass(frozen=True, slots=True)
class Deviation:
    """One departure: its minute (of the plan where nothing was logged), what was planned and logged."""

    kind: Departure
    minute: float
    depth_fsw: float
    planned: float
    logged: float
    unit: str

    @property
    def size(self) -> float:
        """The difference, without sign."""
        return abs(self.logged - self.planned)

    @property
    def rule(self) -> Rule:
        """The rule that it is measured by."""
        return RULES.get(self.kind, HOUSE)


@dataclass(frozen=True, slots=True)
class Comparison:
    """All departures in the order of the log, the tolerances used, and whether gas was compared at all."""

    deviations: tuple[Deviation, ...]
    tolerances: Tolerances
    gas_compared: bool


@dataclass(frozen=True, slots=True)
class Pair:
    """A planned stop with the logged one that answers it, each with the end of its zone (up to the next stop)."""

    planned: Phase
    planned_end: float
    logged: Phase | None
    logged_end: float


def compare(plan: Profile, log: Sequence[Segment], tolerances: Tolerances) -> Comparison:
    """Return where a log departs from its plan.

    ``log``: segments from leaving the surface, see phases.logged(); a gas of phases.NOT_RECORDED anywhere
    leaves gas uncompared. Units: minutes from leaving the surface, fsw gauge.
    Valid: stop times by the clock of the table; a descent slower than planned is no departure.
    """
    planned = phases(plan.segments, 0.0)
    done = phases(log, tolerances.depth_fsw)
    pairs = _pairs(stops(planned), stops(done), (planned[-1].end_min, done[-1].end_min), tolerances)
    gas = all(one.gas != NOT_RECORDED for one in log)
    found = [
        *_rates(plan, log, tolerances),
        *_too_deep(plan, log, tolerances),
        *_stops(plan.clock, stops(planned), stops(done), pairs, tolerances),
    ]
    if gas:
        found += [one for pair in pairs for one in _oxygen(plan.segments, log, pair, tolerances)]
    return Comparison(tuple(sorted(found, key=lambda one: one.minute)), tolerances, gas)


def _pairs(
    planned: Sequence[Phase], done: Sequence[Phase], ends: tuple[float, float], tolerances: Tolerances
) -> tuple[Pair, ...]:
    """Answer each planned stop, in order, by the next logged stop of its depth."""
    answers: list[int | None] = []
    after = 0
    for one in planned:
        depths = [abs(other.start_fsw - one.start_fsw) for other in done[after:]]
        place = next((n for n, apart in enumerate(depths, after) if apart <= tolerances.depth_fsw), None)
        answers.append(place)
        after = after if place is None else place + 1
    starts = [*(one.start_min for one in planned[1:]), ends[0]]
    taken = [place for place in answers if place is not None]
    following = dict(pairwise(taken))
    found = []
    for one, end, place in zip(planned, starts, answers, strict=True):
        if place is None:
            found.append(Pair(one, end, None, 0.0))
        else:
            next_place = following.get(place)
            logged_end = ends[1] if next_place is None else done[next_place].start_min
            found.append(Pair(one, end, done[place], logged_end))
    return tuple(found)


def _rates(plan: Profile, log: Sequence[Segment], tolerances: Tolerances) -> Iterator[Deviation]:
    minute = 0.0
    for one in log:
        rate = one.ascent_rate
        allowed = _fastest(plan, one)
        up = rate > 0
        slack = tolerances.rate_fsw_min if up else tolerances.descent_rate_fsw_min
        if rate != 0 and abs(rate) > allowed + slack:
            kind = Departure.FAST_ASCENT if up else Departure.FAST_DESCENT
            yield Deviation(kind, minute, one.start_fsw, allowed, abs(rate), "fsw/min")
        minute += one.minutes


def _fastest(plan: Profile, piece: Segment) -> float:
    """Return the fastest planned rate, same direction, where the piece runs; no limit where none is planned."""
    top, bottom = sorted((piece.start_fsw, piece.end_fsw))
    rates = [
        abs(one.ascent_rate)
        for one in plan.segments
        if one.ascent_rate * piece.ascent_rate > 0
        and min(one.start_fsw, one.end_fsw) < bottom
        and max(one.start_fsw, one.end_fsw) > top
    ]
    return max(rates, default=inf)


def _too_deep(plan: Profile, log: Sequence[Segment], tolerances: Tolerances) -> Iterator[Deviation]:
    deepest = max(one.start_fsw for one in plan.segments)
    minute = 0.0
    worst: Deviation | None = None
    for one in log:
        minute += one.minutes
        if one.end_fsw > max(deepest + tolerances.depth_fsw, worst.logged if worst else 0.0):
            worst = Deviation(Departure.TOO_DEEP, minute, one.end_fsw, deepest, one.end_fsw, "fsw")
    if worst is not None:
        yield worst


def _stops(
    clock: StopClock,
    planned: Sequence[Phase],
    done: Sequence[Phase],
    pairs: Sequence[Pair],
    tolerances: Tolerances,
) -> Iterator[Deviation]:
    answered = set()
    for place, pair in enumerate(pairs):
        asked = stop_minutes(planned, place, clock)
        depth = pair.planned.start_fsw
        if pair.logged is None:
            yield Deviation(Departure.MISSED_STOP, pair.planned.start_min, depth, asked, 0.0, "min")
            continue
        index = done.index(pair.logged)
        answered.add(index)
        kept = stop_minutes(done, index, clock)
        if abs(kept - asked) > tolerances.stop_min:
            kind = Departure.SHORT_STOP if kept < asked else Departure.LONG_STOP
            yield Deviation(kind, pair.logged.start_min, depth, asked, kept, "min")
    for index, one in enumerate(done):
        if index not in answered:
            yield Deviation(Departure.UNPLANNED_STOP, one.start_min, one.start_fsw, 0.0, one.minutes, "min")


def _oxygen(plan: Sequence[Segment], log: Sequence[Segment], pair: Pair, tolerances: Tolerances) -> Iterator[Deviation]:
    """Compare what was breathed from a stop to the next one: minutes of oxygen, its start, the air breaks."""
    asked = breathed(plan, pair.planned.start_min, pair.planned_end)
    asked_minutes = _on_oxygen(asked)
    if asked_minutes == 0:
        return
    depth, start = pair.planned.start_fsw, pair.planned.start_min
    if pair.logged is None:
        yield Deviation(Departure.MISSED_OXYGEN, start, depth, asked_minutes, 0.0, "min")
        return
    done = breathed(log, pair.logged.start_min, pair.logged_end)
    minutes = _on_oxygen(done)
    if minutes < asked_minutes - tolerances.oxygen_min:
        yield Deviation(Departure.MISSED_OXYGEN, pair.logged.start_min, depth, asked_minutes, minutes, "min")
    if _brought_along(asked, done):
        if done[0].minutes > tolerances.break_min:
            yield Deviation(Departure.LATE_BREAK, done[1].start_min, depth, 0.0, done[0].minutes, "min")
        done = done[1:]
    if _on_oxygen(done) > 0:
        yield from _start(asked, done, pair, tolerances)
        yield from _breaks(asked, done, depth, tolerances)


def _brought_along(asked: Sequence[Breathing], done: Sequence[Breathing]) -> bool:
    """Return whether oxygen of the travel was still on at a stop that opens with air, for less than that break."""
    off = asked[0].gas != OXYGEN and len(done) > 1
    return off and done[0].gas == OXYGEN and done[0].minutes < asked[0].minutes


def _start(
    asked: Sequence[Breathing], done: Sequence[Breathing], pair: Pair, tolerances: Tolerances
) -> Iterator[Deviation]:
    """Compare how long after arrival oxygen went on; where the stop opens with an air break, that break."""
    first, began = _first(asked), _first(done)
    planned = first.start_min - asked[0].start_min
    waited = began.start_min - done[0].start_min
    depth = pair.planned.start_fsw
    if waited > planned + tolerances.oxygen_start_min:
        yield Deviation(Departure.LATE_OXYGEN, began.start_min, depth, planned, waited, "min")
    elif planned > 0 and waited < planned - tolerances.break_min:
        yield Deviation(Departure.SHORT_BREAK, began.start_min, depth, planned, waited, "min")


def _breaks(
    asked: Sequence[Breathing], done: Sequence[Breathing], depth: float, tolerances: Tolerances
) -> Iterator[Deviation]:
    planned, taken = _between(asked), _between(done)
    if len(planned) != len(taken):
        minute = taken[0].start_min if taken else _first(done).start_min
        yield Deviation(Departure.OTHER_BREAKS, minute, depth, len(planned), len(taken), "count")
        return
    for one, other in zip(planned, taken, strict=True):
        if abs(other.minutes - one.minutes) > tolerances.break_min:
            kind = Departure.SHORT_BREAK if other.minutes < one.minutes else Departure.LONG_BREAK
            yield Deviation(kind, other.start_min, depth, one.minutes, other.minutes, "min")


def _between(stretches: Sequence[Breathing]) -> list[Breathing]:
    """Return the stretches off oxygen that lie between two on oxygen."""
    places = [n for n, one in enumerate(stretches) if one.gas == OXYGEN]
    return [one for n, one in enumerate(stretches) if one.gas != OXYGEN and places[0] < n < places[-1]]


def _first(stretches: Sequence[Breathing]) -> Breathing:
    return next(one for one in stretches if one.gas == OXYGEN)


def _on_oxygen(stretches: Sequence[Breathing]) -> float:
    return sum(one.minutes for one in stretches if one.gas == OXYGEN)
