"""Needs whose members say the same for every plan: worked out once, then looked up.

Most needs rest on items that can only get worse. Then the counts for a run depend
on nothing but the instant at which the part ends.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

from facility.compute.facts import Need
from facility.compute.instants import Instant
from facility.compute.states import BAD, LIMITED
from facility.compute.steps import Steps

Counts: TypeAlias = tuple[int, int, int, int]
"""Members good, limited, unknown, bad."""


@dataclass(frozen=True, slots=True)
class Rising:
    """Counts and level of a need from each instant on, for a part that ends there."""

    steps: Steps
    counts: list[Counts]


@dataclass(frozen=True, slots=True)
class SharedNeed:
    """Calendars of a need's members, and all of them together if all are rising."""

    calendars: list[Steps]
    rising: Rising | None


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


def is_rising(steps: Steps) -> bool:
    """Whether a step function never gets better."""
    levels = steps[1]
    return len(levels) == 1 or levels == sorted(levels)


def shared_need(need: Need, calendars: list[Steps]) -> SharedNeed:
    """Put the calendars of all members together, if they are rising."""
    rising = bool(calendars) and all(is_rising(steps) for steps in calendars)
    return SharedNeed(calendars, _rising(need, calendars) if rising else None)


def _rising(need: Need, calendars: list[Steps]) -> Rising:
    changes = sorted(
        (instant, number, level)
        for number, (instants, values) in enumerate(calendars)
        for instant, level in zip(instants, values, strict=True)
    )
    now = [0] * len(calendars)
    found: dict[Instant, Counts] = {}
    for instant, number, level in changes:
        now[number] = level
        found[instant] = counts_of(now)
    levels = [need_level(counts, need) for counts in found.values()]
    return Rising((list(found), levels), list(found.values()))
