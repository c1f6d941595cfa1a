"""The 90 days with their reasons agree with the forecast, on random facilities and on the worked example."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from hypothesis import given

from facility.compute.ahead import lost, minutes_lost, steps_ahead
from facility.compute.facts import CREW
from facility.compute.facts_json import facility_of
from facility.compute.forecast import FORECAST_MINUTES, forecast_all
from facility.compute.instants import parse_instant
from facility.compute.states import State
from tests.make_facts import worked_example
from tests.strategies import facts

AT = parse_instant("2026-11-27T10:00Z")
FIT = {State.READY, State.READY_WITH_LIMITS}


@given(facts())
def test_the_states_are_those_of_the_forecast(asked: tuple[dict[str, Any], str]) -> None:
    facility, at = facility_of(asked[0]), parse_instant(asked[1])
    told = steps_ahead(facility, at)
    for plan, steps in forecast_all(facility, at).items():
        joined: list[tuple[int, State]] = []
        for step in told[plan]:
            if not joined or joined[-1][1] != step.state:
                joined.append((step.begin, step.state))
        assert joined == steps


@given(facts())
def test_what_is_lost_is_what_the_forecast_does_not_call_ready(asked: tuple[dict[str, Any], str]) -> None:
    facility, at = facility_of(asked[0]), parse_instant(asked[1])
    told = steps_ahead(facility, at)
    for plan, steps in forecast_all(facility, at).items():
        ends = [begin for begin, _ in steps[1:]] + [at + FORECAST_MINUTES]
        by_hand = sum(end - begin for (begin, state), end in zip(steps, ends, strict=True) if state not in FIT)
        assert minutes_lost(told[plan], at) == by_hand


def test_the_worked_example_is_lost_at_17_22_for_its_depth_gauges() -> None:
    """readiness: G1 good until 28 Nov 02:00, less 8 h 38 min."""
    steps = steps_ahead(facility_of(worked_example()), AT)["TT6"]
    first = lost(steps)[0]
    assert datetime.fromtimestamp(first.begin * 60, UTC) == datetime(2026, 11, 27, 17, 22, tzinfo=UTC)
    assert first.state == State.NOT_KNOWN
    assert CREW not in first.needs
