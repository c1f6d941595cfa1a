"""What a second reading of the readiness rules settled; expected values by hand from the rules."""

from __future__ import annotations

from typing import Any

import pytest

from facility.compute.changes import changes_of
from facility.compute.facts_json import dump_facts, facility_of, load_facts
from facility.compute.findings import dump_evaluation
from facility.compute.instants import FactsError, parse_instant
from facility.compute.readiness import evaluate_plan
from facility.compute.whatif import changed
from tests.make_facts import AT, gauge, worked_example

RUN = {"op": "after run", "plan": "TT6", "start": "2026-11-27T01:00Z", "banks": {}, "inside": []}
RUN_ENDS = "2026-11-27T09:08Z"
"""01:00 and 288 + 2 x 25 + 2 x 75 = 488 minutes; the margin is not part of the run."""

BANK = {
    "kind": "bank",
    "gas": "oxygen",
    "cylinders": [{"id": "1", "usable": 7000.0, "read_at": "2026-11-27T06:00Z", "analysis": "passed"}],
}


def found(facts: dict[str, Any]) -> dict[str, Any]:
    return dump_evaluation(evaluate_plan(facility_of(facts), "TT6", parse_instant(AT)))


def after_run(facts: dict[str, Any]) -> dict[str, Any]:
    return dump_facts(changed(facility_of(facts), parse_instant(AT), changes_of([RUN])))


def test_a_run_raises_the_counters_of_the_whole_chamber_whatever_its_plan_rests_on() -> None:
    facts = worked_example()
    counter = {"name": "cycles", "count": 10, "limit": 100, "per_run": 1, "per_hour": 0}
    facts["members"]["viewport"] = gauge(None) | {"counters": [counter]}
    assert after_run(facts)["members"]["viewport"]["counters"][0]["count"] == 11


def test_a_run_voids_every_check_of_the_chamber_also_of_another_plan() -> None:
    facts = worked_example()
    facts["members"]["weekly check"] = {"kind": "check", "checks": [], "opened": []}
    assert after_run(facts)["members"]["weekly check"]["opened"] == [RUN_ENDS]


def test_a_need_may_be_met_by_a_bank_or_by_an_item_and_its_gas_is_for_the_bank() -> None:
    facts = worked_example()
    facts["members"] |= {"spare bank": BANK, "supply line": gauge("2026-12-24T00:00Z")}
    facts["needs"]["either"] = {"k": 2, "members": ["spare bank", "supply line"], "gas": "oxygen"}
    facts["plans"]["TT6"]["needs"].append("either")
    finding = found(facts)["findings"]["either"]
    assert (finding["state"], finding["counts"]) == ("holds", [2, 0, 0, 0])
    facts["members"]["spare bank"] = BANK | {"gas": "air"}
    assert found(facts)["findings"]["either"]["counts"] == [1, 0, 0, 1]


def test_a_crew_waiver_may_name_a_role_of_any_plan_but_not_one_that_nobody_has() -> None:
    facts = worked_example()
    other = {"role": "medic", "count": 1, "qualifications": [], "medical": False}
    facts["plans"]["TT5"] = facts["plans"]["TT6"] | {"roles": [other]}
    waiver = {"need": "crew", "plans": ["TT6"], "from": "2026-11-27T00:00Z", "until": "2026-11-28T12:00Z"}
    without_it = found(facts)
    assert found(facts | {"waivers": [waiver | {"without": ["medic"]}]}) == without_it
    with pytest.raises(FactsError, match="no role 'cook'"):
        facility_of(facts | {"waivers": [waiver | {"without": ["cook"]}]})


@pytest.mark.parametrize("minutes", ["288.0", "2.88e2"])
def test_a_whole_number_written_with_a_point_is_whole(minutes: str) -> None:
    """JSON Schema 2020-12 (core, 4.2.3): 1.0 and 1 are the same number, and an integer."""
    text = f'{{"zone": "UTC", "plans": {{"A": {{"table_min": {minutes}, "margin_min": 0, "needs": []}}}}}}'
    assert load_facts(text).plans["A"].table_min == 288


@pytest.mark.parametrize("value", [288.5, float("inf"), float("nan"), 1e30])
def test_minutes_that_are_not_whole_or_too_many_are_refused(value: float) -> None:
    facts = worked_example()
    facts["plans"]["TT6"]["table_min"] = value
    with pytest.raises(FactsError, match=r"table_min: .* is refused"):
        facility_of(facts)


def test_expired_outranks_not_yet_recorded() -> None:
    facts = worked_example()
    due = {"name": "test", "from": "2026-11-29T00:00Z", "until": {"date": "2026-11-26"}}
    facts["members"]["G1"]["due"].append(due)
    assert found(facts)["findings"]["inner-lock depth"]["counts"] == [1, 0, 1, 1]
