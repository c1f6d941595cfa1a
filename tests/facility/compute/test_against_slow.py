"""The application against the slow and obvious readiness of ``tests/oracle``."""

from __future__ import annotations

import json
import os

import pytest

from facility.compute.changes import changes_of
from facility.compute.facts_json import dump_facts, facility_of
from facility.compute.findings import dump_comparison, dump_evaluation, dump_forecast
from facility.compute.forecast import forecast, forecast_all
from facility.compute.instants import parse_instant
from facility.compute.readiness import evaluate
from facility.compute.whatif import what_if
from tests.oracle.slow_changes import slow_changed
from tests.oracle.slow_readiness import slow_evaluate, slow_forecast
from tests.strategies import random_changes, random_facts, seeded

LONG = os.environ.get("DEEPSTEAD_LONG") == "1"
BATCH = 250
BATCHES = 80 if LONG else 20


@pytest.mark.parametrize("batch", range(BATCHES))
def test_every_evaluation_is_that_of_the_slow_one(batch: int) -> None:
    for seed in range(batch * BATCH, (batch + 1) * BATCH):
        facts, at = random_facts(seeded(seed))
        facility = facility_of(facts)
        found = evaluate(facility, parse_instant(at))
        shape = {plan: dump_evaluation(one) for plan, one in found.items()}
        assert shape == slow_evaluate(facts, at), f"seed {seed}"


@pytest.mark.parametrize("batch", range(BATCHES // 4))
def test_every_forecast_is_that_of_the_slow_one(batch: int) -> None:
    for seed in range(batch * BATCH, (batch + 1) * BATCH):
        facts, at = random_facts(seeded(seed))
        facility = facility_of(facts)
        together = forecast_all(facility, parse_instant(at))
        for plan in facts["plans"]:
            steps = forecast(facility, plan, parse_instant(at))
            assert dump_forecast(steps) == slow_forecast(facts, plan, at), f"seed {seed}"
            assert together[plan] == steps


@pytest.mark.parametrize("batch", range(BATCHES // 4))
def test_every_what_if_is_that_of_the_slow_one(batch: int) -> None:
    for seed in range(batch * BATCH, (batch + 1) * BATCH):
        chance = seeded(seed)
        facts, at = random_facts(chance)
        changes = random_changes(chance, facts, at)
        found = what_if(facility_of(facts), "P0", parse_instant(at), changes_of(changes))
        after = slow_changed(facts, at, changes)
        expected = {"before": slow_evaluate(facts, at)["P0"], "after": slow_evaluate(after, at)["P0"]}
        assert dump_comparison(found) == expected, f"seed {seed}: {changes}"


def test_facts_survive_being_written_and_read_again() -> None:
    for seed in range(200):
        facts, _ = random_facts(seeded(seed))
        facility = facility_of(facts)
        assert facility_of(json.loads(json.dumps(dump_facts(facility)))) == facility
