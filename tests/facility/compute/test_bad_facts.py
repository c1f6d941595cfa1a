"""Bad input is refused with the place, the value and what is allowed."""

from __future__ import annotations

import json
from typing import Any

import pytest

from facility.compute.changes import load_changes
from facility.compute.facts_json import dump_facts, facility_of, load_facts
from facility.compute.forecast import forecast
from facility.compute.instants import FactsError
from facility.compute.readiness import evaluate_plan
from tests.make_facts import worked_example


def placed(facts: Any, path: str, value: Any) -> Any:
    """Put a value at a path such as ``members/G1/due/0/until``."""
    *way, last = path.split("/")
    spot = facts
    for key in way:
        spot = spot[int(key) if isinstance(spot, list) else key]
    spot[int(last) if isinstance(spot, list) else last] = value
    return facts


WAIVER = {"need": "check", "from": "2026-11-27T00:00Z", "until": "2026-11-28T00:00Z", "accepts": 0}


@pytest.mark.parametrize(
    ("path", "value", "said"),
    [
        ("zone", "Mars/Base", "zone: 'Mars/Base' is not known"),
        ("zone", 5, "facts.zone: 5 is refused. Give a non-empty text"),
        ("surprise", 1, "Unknown key. Allowed: zone, roster_until"),
        ("members", [], "facts.members"),
        ("members/G1", 3, "facts.members.G1"),
        ("members/G1/kind", "gauge", "Allowed: 'equipment', 'bank', 'check'"),
        (
            "members/G1/due/0/until",
            "2026-11-28T02:00",
            "facts.members.G1.due[0].until: '2026-11-28T02:00' is not an instant",
        ),
        ("members/G1/due/0/until", 12, "YYYY-MM-DDTHH:MMZ"),
        ("members/G1/due/0/until", {"date": "2026-11-31"}, "date"),
        ("members/G1/due/0/until", {"date": 20261130}, "date"),
        ("members/G1/due/0/until", {"date": "9999-12-31"}, "up to year 9000"),
        ("members/G1/due/0/until", {"date": "2026-11-30", "window_days": -1}, "from 0 to 3660"),
        ("members/G1/due/0/from", "2026-11-28T02:00Z", "is not after from"),
        ("members/G1/due", {}, "Give a list"),
        (
            "members/G1/defects",
            [{"from": "2026-11-28T02:00Z", "until": "2026-11-28T02:00Z", "effect": "out"}],
            "is not after",
        ),
        ("members/G1/defects", [{"from": "2026-11-28T02:00Z", "effect": "broken"}], "Allowed: 'out', 'restricted'"),
        (
            "members/G1/defects",
            [{"from": "2026-11-28T02:00Z", "effect": "out", "plans": ["TT5"]}],
            "no plan 'TT5'. Known: TT6",
        ),
        (
            "members/G1/results",
            [{"at": "2026-11-28T02:00Z", "result": "fine"}],
            "Allowed: 'passed', 'failed', 'could not read'",
        ),
        ("members/G1/counters", [{"name": "c", "limit": 3}], "'count' is missing"),
        ("members/G1/counters", [{"name": "c", "count": -1, "limit": 3}], "from 0 to"),
        ("members/G1/counters", [{"name": "c", "count": True, "limit": 3}], "Give a number"),
        ("members/G1/counters", [{"name": "c", "count": float("inf"), "limit": 3}], "finite"),
        ("age_limit_min", {}, "age_limit_min.bank is missing"),
        ("age_limit_min/check", -5, "facts.age_limit_min.check: -5"),
        ("people/Ana/duty/0/until", None, "YYYY-MM-DDTHH:MMZ"),
        ("people/Ana/duty/0/until", "2026-11-01T00:00Z", "people.Ana.duty[0]: until 2026-11-01T00:00Z is not after"),
        ("people/Ana/medical/0/second_look", "yes", "Give true or false"),
        ("needs/check/k", 0, "from 1 to"),
        ("needs/check/k", 1.5, "Give a whole number"),
        ("needs/check/members", ["daily chek"], "no member 'daily chek'"),
        ("needs/check/effect", "warns", "Allowed: 'stops', 'limits'"),
        ("needs/check/gas", "oxygen", "is for banks only"),
        ("needs/check/from", -1, "from 0 to"),
        ("needs/check/to", -1, "from 0 to"),
        ("needs/crew", {"k": 1, "members": []}, "kept for the crew"),
        ("plans/TT6/needs", ["depth"], "no need 'depth'"),
        ("plans/TT6/margin_min", -30, "plans.TT6.margin_min: -30 is refused. Give a number from 0"),
        ("plans/TT6/roles/1/role", "panel", "role 'panel' is given twice"),
        ("plans/TT6/roles/1/count", 0, "from 1 to 100"),
        ("plans/TT6/roles/1/from", 3, ""),
        ("waivers", [WAIVER | {"need": "chek"}], "no need 'chek'"),
        ("waivers", [WAIVER | {"until": "2026-11-01T00:00Z"}], "waivers[0]: until"),
        ("waivers", [WAIVER | {"plans": ["TT5"]}], "no plan 'TT5'"),
        ("waivers", [WAIVER | {"without": []}], "Unknown key"),
        ("waivers", ["none"], "Give an object"),
        (
            "waivers",
            [{"need": "crew", "from": WAIVER["from"], "until": WAIVER["until"], "without": ["medic"]}],
            "no role 'medic'",
        ),
    ],
)
def test_a_wrong_value_is_named_with_what_is_allowed(path: str, value: Any, said: str) -> None:
    facts = placed(worked_example(), path, value)
    if path == "plans/TT6/roles/1/from":
        facts["plans"]["TT6"]["roles"][1]["to"] = 2
        said = "to 2 is before from 3"
    with pytest.raises(FactsError) as caught:
        facility_of(facts)
    assert said in str(caught.value)


def test_a_need_that_asks_for_less_than_one_member_is_refused_wherever_it_comes_from() -> None:
    from dataclasses import replace

    from facility.compute.facts_check import check_facility

    facility = facility_of(worked_example())
    needs = facility.needs | {"check": replace(facility.needs["check"], k=0)}
    with pytest.raises(FactsError, match="At least 1"):
        check_facility(replace(facility, needs=needs))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("{", "Not JSON: .* at line 1, column 2"),
        ("[]", "Give an object"),
        ('{"zone": "UTC", "zone": "UTC"}', "The key 'zone' is given twice"),
        ('{"zone": NaN}', "NaN is not a number"),
        ("[" * 100000, "nested too deeply"),
        ('{"zone": "' + "x" * 200 + '"}', "is not known"),
        ('{"roster_until": "' + "x" * 200 + '", "zone": ""}', "is refused"),
    ],
)
def test_a_file_that_is_no_facts_is_refused(text: str, said: str) -> None:
    with pytest.raises(FactsError, match=said):
        load_facts(text)


def test_a_long_value_is_shown_short() -> None:
    with pytest.raises(FactsError) as caught:
        load_facts(json.dumps({"zone": ["x" * 500]}))
    assert len(str(caught.value)) < 200


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[{"person": "Bo"}]', "Give an object with an op"),
        ('[{"op": "forget"}]', "Allowed: 'without person'"),
        ('[{"op": "late", "member": "G1", "days": -1}]', "from 0 to 3660"),
        ('[{"op": "late", "member": "G1"}]', "'days' is missing"),
        ('"late"', "Give a list"),
    ],
)
def test_changes_that_are_none_are_refused(text: str, said: str) -> None:
    with pytest.raises(FactsError, match=said):
        load_changes(text)


def test_a_plan_that_does_not_exist_is_refused() -> None:
    facility = facility_of(worked_example())
    with pytest.raises(FactsError, match="No plan 'TT5'. Known: TT6"):
        evaluate_plan(facility, "TT5", 0)
    with pytest.raises(FactsError, match="No plan 'TT5'"):
        forecast(facility, "TT5", 0)


def test_what_is_left_out_is_written_as_left_out() -> None:
    assert dump_facts(load_facts('{"zone": "UTC"}'))["age_limit_min"] == {"check": 24 * 60}
