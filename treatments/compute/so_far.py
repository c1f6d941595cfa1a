"""A log that is still being written, laid against the part of its plan that is behind it.

What is still to come is never missing: the plan is cut where the log is, by the time spent at the last stop.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import accumulate
from typing import TYPE_CHECKING

from treatments.compute.conformity import Comparison, Departure, compare
from treatments.compute.phases import NOT_RECORDED, phases, stop_minutes, stops
from treatments.compute.profile import Profile

if TYPE_CHECKING:
    from collections.abc import Sequence

    from treatments.compute.conformity import Deviation, Tolerances
    from treatments.compute.phases import Phase
    from treatments.compute.tables import Segment

NO_TIME = 1e-9
#: of a stop that was just reached so much is behind the log at least
LEAST_MIN = 1e-6
#: departures that can only be told once the stop is over
AT_THE_END = frozenset({Departure.OTHER_BREAKS, Departure.SHORT_STOP})
#: what every stop would be before the first one is reached
STILL_TO_COME = frozenset({Departure.MISSED_STOP, Departure.MISSED_OXYGEN})
GAS_KINDS = frozenset(
    {
        Departure.MISSED_OXYGEN, Departure.LATE_OXYGEN, Departure.LATE_BREAK, Departure.SHORT_BREAK,
        Departure.LONG_BREAK, Departure.OTHER_BREAKS,
    }
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Reached:
    """How far a log got: the last planned stop that it answers (None: none yet) and the logged one.

    ``asked`` and ``kept``: minutes of the stop by the clock of the table, planned and logged.
    """

    planned: Phase | None
    done: Phase | None
    still_there: bool
    asked: float = 0.0
    kept: float = 0.0


def compare_so_far(plan: Profile, log: Sequence[Segment], tolerances: Tolerances, *, over: bool) -> Comparison:
    """Return where a log departs from its plan as far as it goes. ``over``: it reached the surface.

    Errors and units as compare().
    """
    if over:
        return compare(plan, log, tolerances)
    at = reached(plan, log, tolerances)
    if at.planned is None:
        found = compare(plan, log, tolerances)
        kept = tuple(one for one in found.deviations if one.kind not in STILL_TO_COME)
    else:
        found = compare(cut(plan, log, at), log, tolerances)
        kept = tuple(one for one in found.deviations if not _too_early(one, at))
    return Comparison(kept, found.tolerances, found.gas_compared)


def depth_and_gas(
    plan: Profile, log: Sequence[Segment], breathed: Sequence[Sequence[Segment]], tolerances: Tolerances, *, over: bool
) -> tuple[tuple[Deviation, ...], tuple[tuple[Deviation, ...], ...]]:
    """Return the departures of the depth, and for each who breathed by the table those of the gas."""
    if not log:
        return (), tuple(() for _ in breathed)
    silent = [replace(one, gas=NOT_RECORDED) for one in log]
    depth = compare_so_far(plan, silent, tolerances, over=over).deviations
    gas = [compare_so_far(plan, one, tolerances, over=over).deviations if one else () for one in breathed]
    return depth, tuple(tuple(one for one in found if one.kind in GAS_KINDS) for found in gas)


def reached(plan: Profile, log: Sequence[Segment], tolerances: Tolerances) -> Reached:
    """Return how far a log got along its plan: each stop answers the next planned one of its depth."""
    done = phases(log, tolerances.depth_fsw)
    planned = list(stops(phases(plan.segments, 0.0)))
    at = Reached(None, None, still_there=False)
    after = 0
    logged = stops(done)
    for index, one in enumerate(logged):
        place = next(
            (
                n
                for n in range(after, len(planned))
                if abs(planned[n].start_fsw - one.start_fsw) <= tolerances.depth_fsw
            ),
            None,
        )
        if place is not None:
            there = one.end_min >= done[-1].end_min
            asked, kept = stop_minutes(planned, place, plan.clock), stop_minutes(logged, index, plan.clock)
            at = Reached(planned[place], one, there, asked, kept)
            after = place + 1
    return at


def cut(plan: Profile, log: Sequence[Segment], at: Reached) -> Profile:
    """Return the part of a plan that a log has behind it."""
    minutes = sum(one.minutes for one in log)
    if at.planned is None or at.done is None:
        return plan
    if at.still_there:
        until = at.planned.end_min - at.asked + min(at.kept, at.asked)
        until = max(until, at.planned.start_min + LEAST_MIN)
    else:
        travel = minutes - at.done.end_min
        following = _travel_after(plan, at.planned.end_min)
        until = at.planned.end_min + min(travel, following)
    kept = []
    for one, end in zip(plan.segments, accumulate(one.minutes for one in plan.segments), strict=True):
        start = end - one.minutes
        left = min(one.minutes, until - start)
        if left > NO_TIME:
            depth = one.start_fsw + (one.end_fsw - one.start_fsw) * left / one.minutes
            kept.append(replace(one, minutes=left, end_fsw=depth))
    return Profile(plan.table, plan.clock, tuple(kept), plan.table_minutes)


def _travel_after(plan: Profile, minute: float) -> float:
    """Return the minutes of travel that follow a stop which ends at a minute of the plan."""
    found = 0.0
    for one, end in zip(plan.segments, accumulate(one.minutes for one in plan.segments), strict=True):
        if end - one.minutes < minute - NO_TIME:
            continue
        if one.is_stop:
            break
        found += one.minutes
    return found


def _too_early(one: Deviation, at: Reached) -> bool:
    """Return whether a departure belongs to the stop that the log is still at and could yet be made good."""
    return one.kind in AT_THE_END and at.still_there and at.done is not None and one.minute >= at.done.start_min
