"""Each kind of member: when it is good, limited, unknown or bad, a sentence each; expected values by hand."""

from __future__ import annotations

from typing import Any

import pytest

from tests.make_facts import evaluated, finding, gauge, one_need, plan, span

GOOD = gauge("2027-01-01T00:00Z")
UNREAD = gauge(None)
EXPIRED = gauge("2026-01-01T00:00Z")
RESTRICTED = GOOD | {"defects": [span("2026-01-01T00:00Z", None) | {"effect": "restricted", "plans": None}]}
NOTHING: dict[str, Any] = {"kind": "equipment", "due": [], "results": [], "defects": [], "counters": []}


def state(facts: dict[str, Any], at: str = "2026-11-27T10:00Z") -> str:
    return str(finding(facts, at)["state"])


def item(**other: Any) -> dict[str, Any]:
    return NOTHING | other


def out(since: str, until: str | None = None, *, plans: list[str] | None = None) -> dict[str, Any]:
    return span(since, until) | {"effect": "out", "plans": plans}


# Equipment


@pytest.mark.parametrize(
    ("member", "expected"),
    [
        (NOTHING, "not known"),
        (UNREAD, "not known"),
        (item(results=[{"at": "2026-11-01T00:00Z", "result": "passed"}]), "holds"),
        (item(results=[{"at": "2026-11-01T00:00Z", "result": "could not read"}]), "not known"),
        (GOOD | {"results": [{"at": "2026-11-01T00:00Z", "result": "failed"}]}, "stops"),
        (GOOD | {"defects": [out("2026-11-27T10:00Z")]}, "stops"),
        (GOOD | {"defects": [out("2026-11-27T09:00Z", "2026-11-27T10:00Z")]}, "holds"),
        (GOOD | {"defects": [out("2026-11-27T09:00Z", plans=["P"])]}, "stops"),
        (GOOD | {"defects": [out("2026-11-27T09:00Z", plans=[])]}, "holds"),
        (item(defects=[out("2026-12-27T09:00Z")]), "not known"),
    ],
)
def test_what_is_on_record_of_an_item(member: dict[str, Any], expected: str) -> None:
    assert state(one_need(member)) == expected


def test_only_the_newest_result_counts_and_of_two_at_one_instant_the_worse() -> None:
    failed, passed = {"at": "2026-11-20T00:00Z", "result": "failed"}, {"at": "2026-11-21T00:00Z", "result": "passed"}
    assert state(one_need(item(results=[passed, failed]))) == "holds"
    failed["at"] = passed["at"]
    assert state(one_need(item(results=[failed, passed]))) == "stops"


def test_each_interval_counts_and_the_earliest_ends_it() -> None:
    both = item(due=[{"name": "a", "until": "2026-11-28T00:00Z"}, {"name": "b", "until": "2026-11-27T20:00Z"}])
    assert finding(one_need(both))["lapses_at"] == "2026-11-27T20:00Z"


def test_a_defect_for_named_plans_leaves_the_others_alone() -> None:
    facts = one_need(GOOD | {"defects": [out("2026-11-27T09:00Z", plans=["other"])]})
    facts["plans"]["other"] = plan("N")
    assert evaluated(facts)["state"] == "Ready"
    facts["members"]["M0"]["defects"][0]["plans"] = ["P"]
    assert evaluated(facts)["state"] == "Not ready"


# Counters: 60 minutes are one hour


@pytest.mark.parametrize(
    ("count", "expected"), [(97.5, "holds"), (97.6, "stops"), (None, "not known"), (0, "holds"), (100, "stops")]
)
def test_count_and_this_runs_use_may_equal_the_limit(count: float | None, expected: str) -> None:
    counter = {"name": "cycles", "count": count, "limit": 100, "per_run": 1, "per_hour": 1.5}
    assert state(one_need(item(counters=[counter]))) == expected


def test_tenths_are_counted_exactly() -> None:
    """0.1 + 0.2 is 0.3 here, unlike in binary fractions."""
    counter = {"name": "hours", "count": 0.1, "limit": 0.3, "per_run": 0.2, "per_hour": 0}
    assert state(one_need(item(counters=[counter]))) == "holds"


# Banks


def bank(*usable: float | None, read_at: str | None = "2026-11-27T06:00Z", **other: Any) -> dict[str, Any]:
    cylinders = [
        {"id": str(number), "usable": one, "read_at": read_at, "analysis": "passed"}
        for number, one in enumerate(usable)
    ]
    return {"kind": "bank", "gas": "oxygen", "due": [], "defects": [], "cylinders": cylinders} | other


def breathing(member: dict[str, Any], demand: float = 6000, reserve: float = 1000) -> dict[str, Any]:
    facts = one_need(member, gas="oxygen")
    facts["plans"]["P"]["gas"] = {"oxygen": {"demand": demand, "reserve": reserve}}
    return facts


def test_content_equal_to_demand_and_reserve_is_enough() -> None:
    assert state(breathing(bank(3000, 4000))) == "holds"
    assert state(breathing(bank(3000, 3999.9))) == "stops"
    assert state(breathing(bank(0.1, 0.2), 0.2, 0.1)) == "holds"


@pytest.mark.parametrize(("analysis", "expected"), [("failed", "stops"), (None, "stops"), ("passed", "holds")])
def test_a_cylinder_without_a_passed_analysis_counts_zero(analysis: str | None, expected: str) -> None:
    member = bank(7000)
    member["cylinders"][0]["analysis"] = analysis
    assert state(breathing(member)) == expected


def test_an_unread_or_stale_cylinder_might_be_enough() -> None:
    assert state(breathing(bank(3000, None))) == "not known"
    assert state(breathing(bank(7000, read_at=None))) == "not known"
    assert state(breathing(bank(7000, read_at="2026-11-26T10:00Z"))) == "not known"
    assert state(breathing(bank(7000, read_at="2026-11-26T10:01Z"))) == "holds"
    assert state(breathing(bank(7000, None))) == "holds"


def test_a_reading_dated_later_is_not_there_yet() -> None:
    assert state(breathing(bank(7000, read_at="2026-11-27T10:01Z"))) == "not known"


def test_the_wrong_gas_is_bad_and_no_demand_is_unknown() -> None:
    assert state(breathing(bank(7000, gas="air"))) == "stops"
    facts = breathing(bank(7000))
    facts["plans"]["P"]["gas"] = {}
    assert state(facts) == "not known"
    facts["needs"]["N"]["gas"] = None
    assert state(facts) == "not known"


def test_a_bank_is_also_bound_by_its_intervals_and_defects() -> None:
    assert state(breathing(bank(7000, due=[{"name": "test", "until": "2026-11-27T10:30Z"}]))) == "stops"
    assert state(breathing(bank(7000, defects=[out("2026-11-27T11:00Z")]))) == "stops"
    assert state(breathing(bank(7000, defects=[out("2026-11-27T11:01Z")]))) == "holds"


def test_content_is_judged_at_the_start_only() -> None:
    found = evaluated(breathing(bank(7000)))
    assert found["holds_until"] == found["findings"]["N"]["lapses_at"] == "2026-11-28T06:00Z"


# Checks


def check(*checks: tuple[str, str], opened: tuple[str, ...] = ()) -> dict[str, Any]:
    signed = [{"signed_at": at, "result": result} for at, result in checks]
    return one_need({"kind": "check", "checks": signed, "opened": list(opened)})


@pytest.mark.parametrize(
    ("checks", "expected"),
    [
        ((), "not known"),
        ((("2026-11-26T10:01Z", "passed"),), "holds"),
        ((("2026-11-26T10:00Z", "passed"),), "not known"),
        ((("2026-11-27T09:00Z", "limits"),), "limits"),
        ((("2026-11-27T09:00Z", "failed"), ("2026-11-27T08:00Z", "passed")), "stops"),
        ((("2026-11-27T08:00Z", "failed"), ("2026-11-27T09:00Z", "passed")), "holds"),
        ((("2026-11-27T09:00Z", "failed"), ("2026-11-27T09:00Z", "passed")), "stops"),
        ((("2026-11-01T09:00Z", "failed"),), "stops"),
        ((("2026-11-27T10:01Z", "passed"),), "not known"),
    ],
)
def test_the_newest_check_counts_for_as_long_as_it_is_valid(checks: tuple[tuple[str, str], ...], expected: str) -> None:
    assert state(check(*checks)) == expected


@pytest.mark.parametrize(
    ("opened", "expected"),
    [
        ("2026-11-27T08:59Z", "holds"),
        ("2026-11-27T09:00Z", "not known"),
        ("2026-11-27T11:00Z", "not known"),
        ("2026-11-27T11:01Z", "holds"),
    ],
)
def test_a_chamber_opened_at_or_after_signing_voids_the_check(opened: str, expected: str) -> None:
    assert state(check(("2026-11-27T09:00Z", "passed"), opened=(opened,))) == expected
