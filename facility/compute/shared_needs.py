"""Needs whose members say the same for every plan: worked out once, then looked up.

Most members do not change within the longest run. Then the counts are the same for
every plan, and the first worse start is one instant less the end of the part.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

from facility.compute.facts import Need
from facility.compute.instants import FOREVER, Instant
from facility.compute.signals import at_least, window
from facility.compute.states import BAD, LIMITED
from facility.compute.steps import Steps

Counts: TypeAlias = tuple[int, int, int, int]
"""Members good, limited, unknown, bad."""


@dataclass(frozen=True, slots=True)
class Steady:
    """A need that does not change within the longest run from now on.

    ``worse_at``: the instant from which on a run that reaches it finds the need worse.
    """

    counts: Counts
    level: int
    worse_at: Instant


@dataclass(frozen=True, slots=True)
class SharedNeed:
    """Calendars of a need's members, and what they come to if they are steady."""

    calendars: list[Steps]
    steady: Steady | None


def need_level(counts: Sequence[int], need: Need) -> int:
    """Rules 1 to 4 on the counts of members, and the effect that the need has."""
    enough = 0
    level = BAD
    for place in range(BAD):
        enough += counts[place]
        if enough >= need.k:
            level = place
            break
    return min(level, LIMITED) if need.effect == "limits" else level


def counts_of(levels: Sequence[int]) -> Counts:
    """Count members by their level."""
    return levels.count(0), levels.count(1), levels.count(2), levels.count(3)


def shared_need(need: Need, calendars: list[Steps], at: Instant, longest: int) -> SharedNeed:
    """Put the calendars of all members together; no run lasts more than ``longest``."""
    if any(len(steps[0]) > 1 and steps[0][1] <= at + longest for steps in calendars):
        return SharedNeed(calendars, None)
    counts = counts_of([steps[1][0] for steps in calendars])
    level = need_level(counts, need)
    if level == BAD or (level == LIMITED and need.effect == "limits"):
        return SharedNeed(calendars, Steady(counts, level, FOREVER))
    ends = sorted([_leaves(steps, level) for steps in calendars])
    worse_at = ends[-need.k][0]
    if any(end < worse_at and again for end, again in ends):
        shortest = _worse_at(need, calendars, level, (at, 0))
        worse_at = _worse_at(need, calendars, level, (at, longest))
        if shortest != worse_at:
            return SharedNeed(calendars, None)
    return SharedNeed(calendars, Steady(counts, level, worse_at))


def _worse_at(need: Need, calendars: list[Steps], level: int, run: tuple[Instant, int]) -> Instant:
    """When a run of some length first finds the need worse.

    The longer the part, the earlier; so if a point and the longest run agree, then
    all parts between them do.
    """
    at, length = run
    members = [window(steps, 0, length) for steps in calendars]
    start = at_least(members, need.k).until_worse(at, level)
    return min(start + length, FOREVER)


def _leaves(steps: Steps, level: int) -> tuple[Instant, bool]:
    """When a member is first worse than ``level``, and whether it ever returns."""
    instants, levels = steps
    for place, now in enumerate(levels):
        if now > level:
            return instants[place], min(levels[place:]) <= level
    return FOREVER, False
