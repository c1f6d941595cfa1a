"""Crew hours against the slow and obvious readiness: the crew sought by trying everybody, start by start."""

from __future__ import annotations

from typing import Any

import pytest

from facility.compute.coverage import coverage, crewed_min, swapped
from facility.compute.facts import Span
from facility.compute.facts_json import dump_facts, facility_of
from facility.compute.instants import MINUTES_PER_DAY, parse_instant
from tests.oracle.slow_readiness import Slow
from tests.strategies import random_facts, seeded

EACH = 53
"""Minutes between two starts that are tried; no divisor of an hour, so that no edge is always missed."""

SEEDS = [seed for seed in range(60) if len(random_facts(seeded(seed))[0]["people"]) > 1][:25]
"""Facilities in which there is somebody to swap with."""


@pytest.mark.parametrize("batch", range(6))
def test_each_start_is_crewed_as_trying_everybody_says(batch: int) -> None:
    for seed in range(batch * 40, batch * 40 + 40):
        facts, at = random_facts(seeded(seed))
        begin = parse_instant(at)
        slow = Slow(facts, at, frozen=True)
        for plan, stretches in coverage(facility_of(facts), begin, 1).items():
            for start in range(begin, begin + MINUTES_PER_DAY, EACH):
                (one,) = [stretch for stretch in stretches if stretch.begin <= start < stretch.until]
                assert one.level == slow.crew(plan, start), f"seed {seed}, {plan}, {start - begin} min later"


@pytest.mark.parametrize("seed", SEEDS)
def test_a_swap_changes_the_table_hours_by_what_counting_each_minute_says(seed: int) -> None:
    facts, at = random_facts(seeded(seed))
    facility, begin = facility_of(facts), parse_instant(at)
    people = sorted(facility.people)
    swap = swapped(facility, Span(begin, begin + 600), people[0], people[1])
    after: dict[str, Any] = dump_facts(swap)
    slow = Slow(after, at, frozen=True)
    for plan, stretches in coverage(swap, begin, 1).items():
        counted = sum(slow.crew(plan, start) <= 1 for start in range(begin, begin + MINUTES_PER_DAY))
        assert crewed_min(stretches) == counted, plan
