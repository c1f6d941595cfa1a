"""What-if and forecast, a sentence each; expected values by hand."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest

from facility.compute.changes import changes_of
from facility.compute.facts import Bank
from facility.compute.facts_json import dump_facts, facility_of
from facility.compute.findings import dump_comparison, dump_forecast
from facility.compute.forecast import forecast
from facility.compute.instants import FactsError, parse_instant
from facility.compute.whatif import changed, what_if
from tests.make_facts import AT, facility, gauge, one_need, plan, span, worked_example


def compared(facts: dict[str, Any], *changes: dict[str, Any], at: str = AT) -> dict[str, Any]:
    name = next(iter(facts["plans"]))
    found = what_if(facility_of(facts), name, parse_instant(at), changes_of(list(changes)))
    return dump_comparison(found)


def after(facts: dict[str, Any], *changes: dict[str, Any], at: str = AT) -> dict[str, Any]:
    """The facts after the changes, in their JSON shape."""
    return dump_facts(changed(facility_of(facts), parse_instant(at), changes_of(list(changes))))


def forecasted(facts: dict[str, Any], at: str = AT) -> list[list[str]]:
    name = next(iter(facts["plans"]))
    return dump_forecast(forecast(facility_of(facts), name, parse_instant(at)))


AFTER_RUN = {
    "op": "after run",
    "plan": "TT6",
    "start": "2026-11-27T01:00Z",
    "banks": {"oxygen": "bank A"},
    "inside": ["Bo"],
}


def test_nothing_changed_changes_nothing() -> None:
    found = compared(worked_example())
    assert found["before"] == found["after"]


def test_one_change_alone_needs_no_list() -> None:
    change = {"op": "without person", "person": "Bo"}
    assert changes_of(change) == changes_of([change])


def test_without_a_person() -> None:
    found = compared(worked_example(), {"op": "without person", "person": "Bo"})
    assert (found["before"]["state"], found["after"]["state"]) == ("Ready", "Not ready")
    assert found["after"]["in_the_way"] == ["crew"]


def test_out_of_service_acts_from_now_without_end() -> None:
    found = compared(worked_example(), {"op": "out of service", "member": "G1"})
    assert found["after"]["holds_until"] == "2026-11-27T15:52Z"
    found = compared(worked_example(), {"op": "out of service", "member": "bank A"})
    assert (found["after"]["state"], found["after"]["ready_from"]) == ("Not ready", None)


def test_a_late_delivery_lengthens_every_absence_that_is_not_over() -> None:
    facts = one_need(gauge("2027-01-01T00:00Z"))
    absences = [
        span("2026-11-01T00:00Z", "2026-11-27T10:00Z"),
        span("2026-11-20T00:00Z", "2026-11-28T00:00Z"),
        span("2026-12-01T00:00Z", None),
    ]
    facts["members"]["M0"]["defects"] = [one | {"effect": "out", "plans": None} for one in absences]
    facts["members"]["M0"]["due"] += [{"name": "loan", "from": "2026-11-27T10:01Z", "until": "2027-01-01T00:00Z"}]
    item = after(facts, {"op": "late", "member": "M0", "days": 3})["members"]["M0"]
    ends = [defect["until"] for defect in item["defects"]]
    assert ends == ["2026-11-27T10:00Z", "2026-12-01T00:00Z", None]
    assert item["due"][1]["from"] == "2026-11-30T10:01Z"


def test_done_today_gives_the_new_due_date() -> None:
    done = {"op": "done", "member": "G3", "due": "calibration", "until": {"date": "2026-12-31", "window_days": 0}}
    found = compared(worked_example(), done)
    assert found["after"]["findings"]["inner-lock depth"]["counts"] == [3, 0, 0, 0]
    assert found["after"]["holds_until"] == "2026-11-27T18:00Z"
    assert found["after"]["limiting"] == ["check"]


def test_after_a_run_the_demand_but_not_the_reserve_has_left_the_bank() -> None:
    """488 minutes after 01:00 is 09:08: 288 + 50 + 150, without the margin of 30."""
    item = after(worked_example(), AFTER_RUN)["members"]["bank A"]
    assert item["cylinders"] == [{"id": "A1", "usable": 1000, "read_at": "2026-11-27T09:08Z", "analysis": "passed"}]


def test_gas_is_taken_from_the_cylinders_in_order_and_only_where_it_may_be_breathed() -> None:
    facts = worked_example()
    kinds = [(2000, "passed"), (5000, "failed"), (None, "passed"), (3000, "passed"), (4000, "passed")]
    facts["members"]["bank A"]["cylinders"] = [
        {"id": str(number), "usable": usable, "read_at": "2026-11-26T00:00Z", "analysis": analysis}
        for number, (usable, analysis) in enumerate(kinds)
    ]
    cylinders = after(facts, AFTER_RUN)["members"]["bank A"]["cylinders"]
    assert [one["usable"] for one in cylinders] == [0, 5000, None, 0, 3000]
    assert cylinders[2]["read_at"] == "2026-11-26T00:00Z"


def test_decimals_from_a_database_are_drawn_and_written_exactly() -> None:
    facts = facility_of(worked_example())
    bank = facts.members["bank A"]
    assert isinstance(bank, Bank)
    cylinder = replace(bank.cylinders[0], usable=Decimal("6000.3"))  # type: ignore[arg-type]  # as rows give it
    members = facts.members | {"bank A": replace(bank, cylinders=(cylinder,))}
    found = changed(replace(facts, members=members), parse_instant(AT), changes_of([AFTER_RUN]))
    assert dump_facts(found)["members"]["bank A"]["cylinders"][0]["usable"] == 0.3
    assert dump_facts(replace(facts, members=members))["members"]["bank A"]["cylinders"][0]["usable"] == 6000.3


def test_after_a_run_the_check_is_void_at_its_end() -> None:
    found = after(worked_example(), AFTER_RUN)["members"]["daily check"]
    assert found["opened"] == ["2026-11-27T09:08Z"]
    assert compared(worked_example(), AFTER_RUN)["after"]["findings"]["check"]["state"] == "not known"


def test_those_inside_wait_from_the_start_until_the_end_and_the_wait() -> None:
    facts = worked_example()
    facts["plans"]["TT6"]["wait_min"] = 720
    people = after(facts, AFTER_RUN)["people"]
    assert people["Bo"]["waits"] == [span("2026-11-27T01:00Z", "2026-11-27T21:08Z")]
    assert people["Ana"]["waits"] == []


def test_counters_rise_by_the_run_and_its_hours_exactly() -> None:
    """488 minutes are 8.1333... hours: 3 x 488 / 60 = 24.4."""
    facts = worked_example()
    facts["members"]["G1"]["counters"] = [
        {"name": "cycles", "count": 10, "limit": 100, "per_run": 1, "per_hour": 0},
        {"name": "hours", "count": 0.5, "limit": 100, "per_run": 0, "per_hour": 3},
        {"name": "unread", "count": None, "limit": 100, "per_run": 1, "per_hour": 0},
    ]
    counters = after(facts, AFTER_RUN)["members"]["G1"]["counters"]
    assert [one["count"] for one in counters] == [11, 24.9, None]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"op": "without person", "person": "Cy"}, "No person 'Cy' in the facts. Known: Ana, Bo"),
        ({"op": "out of service", "member": "G9"}, "No member 'G9'"),
        ({"op": "out of service", "member": "daily check"}, "for equipment and banks only"),
        ({"op": "late", "member": "daily check", "days": 1}, "for equipment and banks only"),
        (
            {"op": "done", "member": "G1", "due": "test", "until": AT},
            "has nothing due named 'test'. Known: calibration",
        ),
        (AFTER_RUN | {"plan": "TT5"}, "No plan 'TT5'"),
        (AFTER_RUN | {"inside": ["Cy"]}, "No person 'Cy'"),
        (AFTER_RUN | {"banks": {"oxygen": "G1"}}, "'G1' is no bank of 'oxygen'"),
        (AFTER_RUN | {"banks": {"air": "bank A"}}, "'bank A' is no bank of 'air'"),
    ],
)
def test_a_change_that_names_what_is_not_there_is_refused(change: dict[str, Any], said: str) -> None:
    with pytest.raises(FactsError) as caught:
        compared(worked_example(), change)
    assert said in str(caught.value)


def test_gas_that_the_plan_does_not_ask_for_is_refused() -> None:
    facts = worked_example()
    facts["plans"]["TT6"]["gas"] = {}
    with pytest.raises(FactsError, match="The plan has no demand of 'oxygen'"):
        compared(facts, AFTER_RUN)


# Forecast


def test_the_worked_example_over_the_coming_days() -> None:
    """Oxygen reading and check are taken as done; gauges lapse, then the crew is off duty."""
    assert forecasted(worked_example()) == [
        ["2026-11-27T10:00Z", "Ready"],
        ["2026-11-27T17:22Z", "Not known"],
        ["2026-11-27T23:22Z", "Not ready"],
    ]


def test_the_forecast_ends_before_the_ninetieth_day_is_over() -> None:
    """90 x 24 h after 27 November 10:00 is 25 February 10:00."""
    inside = one_need(gauge("2027-02-25T10:59Z"))
    assert forecasted(inside)[-1] == ["2027-02-25T09:59Z", "Not ready"]
    assert forecasted(one_need(gauge("2027-02-25T11:00Z"))) == [[AT, "Ready"]]


def test_a_shut_down_shows_from_the_first_run_that_reaches_it_to_its_end() -> None:
    facts = one_need(gauge("2027-12-31T00:00Z"))
    defect = span("2026-12-05T12:00Z", "2026-12-06T12:00Z") | {"effect": "out", "plans": None}
    facts["members"]["M0"]["defects"] = [defect]
    assert forecasted(facts) == [
        [AT, "Ready"],
        ["2026-12-05T11:00Z", "Not ready"],
        ["2026-12-06T12:00Z", "Ready"],
    ]


def test_a_plan_that_rests_on_nothing_stays_not_known() -> None:
    assert forecasted(facility(plans={"P": plan()})) == [[AT, "Not known"]]
