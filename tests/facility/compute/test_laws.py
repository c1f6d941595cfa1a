"""Laws that hold for every facility."""

from __future__ import annotations

import copy
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from facility.compute.facts_json import facility_of
from facility.compute.findings import dump_evaluation
from facility.compute.forecast import forecast
from facility.compute.instants import parse_instant
from facility.compute.readiness import evaluate, evaluate_plan
from facility.compute.states import STATES
from facility.compute.whatif import what_if
from tests.make_facts import gauge, held
from tests.strategies import facts

FINDINGS = ["holds", "limits", "not known", "stops"]
LONG_AGO, FAR = "2020-01-01T00:00Z", "2040-01-01T00:00Z"
ALWAYS = {"from": LONG_AGO, "until": FAR}
ASKED = facts()


def levels(value: dict[str, Any], at: str) -> dict[tuple[str, str], int]:
    """Level of every finding, and under the name "" of every plan."""
    found = evaluate(facility_of(value), parse_instant(at))
    states = {(plan, ""): STATES.index(one.state) for plan, one in found.items()}
    return states | {
        (plan, name): FINDINGS.index(finding.state)
        for plan, one in found.items()
        for name, finding in one.findings.items()
    }


def never_worse(before: dict[tuple[str, str], int], after: dict[tuple[str, str], int]) -> bool:
    return all(after[key] <= before[key] for key in before)


@given(ASKED)
def test_one_more_good_member_never_worsens(asked: tuple[dict[str, Any], str]) -> None:
    value, at = asked
    more = copy.deepcopy(value)
    more["members"]["new"] = gauge(FAR)
    for need in more["needs"].values():
        if need["gas"] is None:
            need["members"].append("new")
    assert never_worse(levels(value, at), levels(more, at))


@given(ASKED)
def test_one_more_person_good_for_everything_never_worsens(asked: tuple[dict[str, Any], str]) -> None:
    value, at = asked
    more = copy.deepcopy(value)
    more["people"]["new"] = {
        "qualifications": {"panel": held(), "tender": held()},
        "medical": held(),
        "duty": [ALWAYS],
        "waits": [],
        "restricted": [],
    }
    assert never_worse(levels(value, at), levels(more, at))


@given(ASKED)
def test_expiring_never_improves(asked: tuple[dict[str, Any], str]) -> None:
    value, at = asked
    less = copy.deepcopy(value)
    for member in less["members"].values():
        for due in member.get("due", []):
            due |= {"from": None, "until": LONG_AGO}
    for person in less["people"].values():
        person["duty"] = []
    assert never_worse(levels(less, at), levels(value, at))


@given(ASKED, st.integers(0, 3), st.booleans())
def test_a_waiver_never_worsens(asked: tuple[dict[str, Any], str], accepts: int, to_end: bool) -> None:
    value, at = asked
    more = copy.deepcopy(value)
    shared = ALWAYS | {"plans": None, "to_end_of_run": to_end}
    more["waivers"] += [shared | {"need": need, "accepts": accepts} for need in value["needs"]]
    roles = [role["role"] for plan in value["plans"].values() for role in plan["roles"]]
    more["waivers"] += [shared | {"need": "crew", "without": roles[:accepts]}]
    assert never_worse(levels(value, at), levels(more, at))


@given(ASKED)
def test_a_what_if_of_nothing_changes_nothing(asked: tuple[dict[str, Any], str]) -> None:
    value, at = asked
    found = what_if(facility_of(value), "P0", parse_instant(at), [])
    assert found.before == found.after


@given(ASKED)
def test_the_forecast_begins_with_the_readiness_of_now(asked: tuple[dict[str, Any], str]) -> None:
    value, at = asked
    facility, instant = facility_of(value), parse_instant(at)
    for plan, found in evaluate(facility, instant).items():
        assert forecast(facility, plan, instant)[0] == (instant, found.state)


@given(ASKED)
def test_one_plan_alone_is_evaluated_as_among_all(asked: tuple[dict[str, Any], str]) -> None:
    value, at = asked
    facility, instant = facility_of(value), parse_instant(at)
    for plan, found in evaluate(facility, instant).items():
        assert evaluate_plan(facility, plan, instant) == found


@given(ASKED)
def test_the_state_holds_until_its_horizon_and_is_worse_at_it(asked: tuple[dict[str, Any], str]) -> None:
    value, at = asked
    facility, instant = facility_of(value), parse_instant(at)
    for plan, found in evaluate(facility, instant).items():
        if found.holds_until is not None:
            before = evaluate_plan(facility, plan, found.holds_until - 1).state
            there = evaluate_plan(facility, plan, found.holds_until)
            assert STATES.index(before) <= STATES.index(found.state) < STATES.index(there.state)
            assert set(found.limiting) <= set(there.findings)
        if found.ready_from is not None:
            assert STATES.index(evaluate_plan(facility, plan, found.ready_from).state) <= 1


@given(ASKED)
def test_asking_twice_gives_the_same(asked: tuple[dict[str, Any], str]) -> None:
    value, at = asked
    facility = facility_of(value)
    once = {plan: dump_evaluation(one) for plan, one in evaluate(facility, parse_instant(at)).items()}
    again = {plan: dump_evaluation(one) for plan, one in evaluate(facility, parse_instant(at)).items()}
    assert once == again
