"""Each rule of the design for needs, time and horizons, a sentence each; expected values by hand."""

from __future__ import annotations

from typing import Any

import pytest

from tests.make_facts import evaluated, facility, finding, gauge, need, one_need, plan, span

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


# Rules 1 to 4


@pytest.mark.parametrize(
    ("members", "k", "expected"),
    [
        ((GOOD, EXPIRED), 1, "holds"),
        ((GOOD, RESTRICTED), 1, "holds"),
        ((GOOD, RESTRICTED), 2, "limits"),
        ((RESTRICTED, UNREAD), 1, "limits"),
        ((GOOD, UNREAD), 2, "not known"),
        ((RESTRICTED, UNREAD, EXPIRED), 2, "not known"),
        ((GOOD, EXPIRED), 2, "stops"),
        ((GOOD,), 2, "stops"),
        ((), 1, "stops"),
    ],
)
def test_k_of_n_by_the_four_rules(members: tuple[dict[str, Any], ...], k: int, expected: str) -> None:
    assert state(one_need(*members, k=k)) == expected


def test_a_member_named_twice_counts_once() -> None:
    facts = one_need(GOOD, k=2)
    facts["needs"]["N"]["members"] = ["M0", "M0"]
    assert finding(facts)["counts"] == [1, 0, 0, 0]
    assert state(facts) == "stops"


@pytest.mark.parametrize("member", [UNREAD, EXPIRED])
def test_a_need_whose_effect_is_limits_gives_limits_instead_of_worse(member: dict[str, Any]) -> None:
    facts = one_need(member, effect="limits")
    assert state(facts) == "limits"
    assert evaluated(facts)["state"] == "Ready with limits"


def test_a_plan_that_rests_on_nothing_is_not_known() -> None:
    found = evaluated(facility(plans={"P": plan()}))
    assert found["state"] == "Not known"
    assert (found["holds_until"], found["ready_from"], found["in_the_way"]) == (None, None, [])


def test_one_gauge_does_not_relieve_another_on_the_way() -> None:
    first = item(due=[{"name": "loan", "until": "2026-11-27T10:30Z"}])
    second = item(due=[{"name": "loan", "from": "2026-11-27T10:15Z", "until": "2026-12-27T10:30Z"}])
    assert finding(one_need(first, second))["counts"] == [0, 0, 1, 1]


def test_the_state_is_that_of_the_worst_finding() -> None:
    facts = facility(
        members={"a": UNREAD, "b": EXPIRED, "c": GOOD},
        needs={"A": need("a"), "B": need("b"), "C": need("c")},
        plans={"P": plan("A", "B", "C")},
    )
    found = evaluated(facts)
    assert found["state"] == "Not ready"
    assert found["in_the_way"] == ["A", "B"]


# Time


def test_good_until_18_00_does_not_cover_a_run_that_ends_at_18_00() -> None:
    facts = one_need(gauge("2026-11-27T18:00Z"))
    assert evaluated(facts, "2026-11-27T16:59Z")["state"] == "Ready"
    assert evaluated(facts, "2026-11-27T17:00Z")["state"] == "Not ready"
    assert evaluated(facts)["holds_until"] == "2026-11-27T17:00Z"


def test_good_from_an_instant_counts_that_instant() -> None:
    back = one_need(item(due=[{"name": "loan", "from": "2026-11-27T10:00Z", "until": "2026-12-27T00:00Z"}]))
    assert state(back) == "holds"
    assert state(back, "2026-11-27T09:59Z") == "not known"


def test_only_the_part_of_the_run_that_matters_is_looked_at() -> None:
    ends = one_need(gauge("2026-11-27T10:30Z"), to=29)
    assert state(ends) == "holds"
    ends["needs"]["N"]["to"] = 30
    assert state(ends) == "stops"
    begins = one_need(item(due=[], results=[{"at": "2026-11-27T10:30Z", "result": "passed"}]), **{"from": 30})
    assert state(begins) == "holds"
    begins["needs"]["N"]["from"] = 29
    assert state(begins) == "not known"


def test_a_part_that_ends_after_the_run_ends_with_the_run() -> None:
    assert state(one_need(gauge("2026-11-27T11:01Z"), to=600)) == "holds"


def test_a_planned_shut_down_acts_on_every_run_that_reaches_it() -> None:
    facts = one_need(GOOD | {"defects": [out("2026-11-27T15:00Z", "2026-11-27T16:00Z")]})
    found = evaluated(facts)
    assert (found["state"], found["holds_until"]) == ("Ready", "2026-11-27T14:00Z")
    during = evaluated(facts, "2026-11-27T14:00Z")
    assert (during["state"], during["ready_from"]) == ("Not ready", "2026-11-27T16:00Z")


# Horizons


def test_limiting_names_all_on_a_tie() -> None:
    facts = facility(
        members={"a": gauge("2026-11-28T00:00Z"), "b": gauge("2026-11-28T00:00Z"), "c": GOOD},
        needs={"A": need("a"), "B": need("b"), "C": need("c")},
        plans={"P": plan("A", "C", "B")},
    )
    found = evaluated(facts)
    assert (found["holds_until"], found["limiting"]) == ("2026-11-27T23:00Z", ["A", "B"])


def test_a_need_that_gets_worse_but_not_worse_than_the_state_does_not_limit() -> None:
    facts = facility(
        members={"a": RESTRICTED, "b": gauge("2026-11-28T00:00Z")},
        needs={"A": need("a"), "B": need("b", effect="limits")},
        plans={"P": plan("A", "B")},
    )
    found = evaluated(facts)
    assert found["findings"]["B"]["start_until"] == "2026-11-27T23:00Z"
    assert found["state"] == "Ready with limits"
    assert (found["holds_until"], found["limiting"]) == ("2026-12-31T23:00Z", ["A"])


def test_not_known_holds_until_it_would_be_not_ready() -> None:
    facts = one_need(item(due=[{"name": "a", "until": None}, {"name": "b", "until": "2026-11-28T00:00Z"}]))
    found = evaluated(facts)
    assert (found["state"], found["holds_until"]) == ("Not known", "2026-11-27T23:00Z")


def test_ready_from_is_the_first_later_start_at_which_all_needs_are_met_together() -> None:
    facts = facility(
        members={
            "a": GOOD | {"defects": [out("2026-11-27T09:00Z", "2026-11-27T12:00Z")]},
            "b": GOOD | {"defects": [out("2026-11-27T12:30Z", "2026-11-27T14:00Z")]},
        },
        needs={"A": need("a"), "B": need("b")},
        plans={"P": plan("A", "B")},
    )
    assert evaluated(facts)["ready_from"] == "2026-11-27T14:00Z"


def test_a_run_of_no_length_uses_no_hours() -> None:
    """Lapses at is asked with a run of no length: the cycle counts, the hours do not."""
    counter = {"name": "hours", "count": 99, "limit": 100, "per_run": 0, "per_hour": 2}
    due = [{"name": "test", "until": "2026-11-28T00:00Z"}]
    found = finding(one_need(item(counters=[counter], due=due)))
    assert (found["state"], found["lapses_at"]) == ("stops", "2026-11-28T00:00Z")


def test_two_outages_after_one_another_stop_every_run_that_meets_both() -> None:
    """A is out 20:00 to 20:30, B from then to 21:00: an hour from 19:30 on meets both, a moment none."""
    first = GOOD | {"defects": [out("2026-11-27T20:00Z", "2026-11-27T20:30Z")]}
    second = GOOD | {"defects": [out("2026-11-27T20:30Z", "2026-11-27T21:00Z")]}
    facts = one_need(first, second)
    found = finding(facts)
    assert found["start_until"] == "2026-11-27T19:30Z"
    assert found["lapses_at"] == "2027-01-01T00:00Z"
    assert evaluated(facts, "2026-11-27T19:30Z")["ready_from"] == "2026-11-27T20:30Z"
