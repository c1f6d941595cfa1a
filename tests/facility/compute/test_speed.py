"""What a forecast of a large facility may cost.

The ratio is taken within one run; absolute times are for the bench.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import pytest

from facility.compute.facts import Facility
from facility.compute.facts_json import facility_of
from facility.compute.forecast import forecast_all
from facility.compute.instants import parse_instant
from facility.compute.readiness import evaluate
from tests.make_facts import BIG_AT, big_facility


@pytest.fixture(scope="module")
def big() -> Facility:
    return facility_of(big_facility(members=300, people=30, plans=12))


def best_ms(work: Callable[[], object], tries: int) -> float:
    best = float("inf")
    for _ in range(tries):
        begin = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - begin)
    return best * 1000


def test_a_forecast_of_ninety_days_costs_less_than_25_evaluations(big: Facility) -> None:
    at = parse_instant(BIG_AT)
    one = best_ms(lambda: evaluate(big, at), 5)
    assert best_ms(lambda: forecast_all(big, at), 3) <= 25 * one
