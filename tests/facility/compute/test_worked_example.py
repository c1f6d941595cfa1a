"""The worked example of the design, 27 November 2026, 10:00 UTC, in all its variants.

Every expected value is a sum by hand: 288 + 2 x 25 + 2 x 75 + 30 = 518 min = 8 h 38.
"""

from __future__ import annotations

from typing import Any

import pytest

from tests.make_facts import evaluated, worked_example


@pytest.fixture
def facts() -> dict[str, Any]:
    return worked_example()


def test_the_run_lasts_table_and_extensions_and_margin(facts: dict[str, Any]) -> None:
    assert evaluated(facts)["duration_min"] == 518


def test_ready_until_17_22_limited_by_inner_lock_depth(facts: dict[str, Any]) -> None:
    found = evaluated(facts)
    assert found["state"] == "Ready"
    assert found["holds_until"] == "2026-11-27T17:22Z"
    assert found["limiting"] == ["inner-lock depth"]
    assert found["in_the_way"] == []
    assert found["ready_from"] is None


def test_horizons_of_each_need(facts: dict[str, Any]) -> None:
    findings = evaluated(facts)["findings"]
    begins = {name: finding["start_until"] for name, finding in findings.items()}
    assert begins == {
        "inner-lock depth": "2026-11-27T17:22Z",
        "oxygen": "2026-11-28T06:00Z",
        "check": "2026-11-27T18:00Z",
        "crew": "2026-11-27T23:22Z",
    }
    lapses = {name: finding["lapses_at"] for name, finding in findings.items()}
    assert lapses == {
        "inner-lock depth": "2026-11-28T02:00Z",
        "oxygen": "2026-11-28T06:00Z",
        "check": "2026-11-27T18:00Z",
        "crew": "2026-11-28T08:00Z",
    }


def test_at_17_22_it_is_not_known_since_the_third_gauge_might_be_good(facts: dict[str, Any]) -> None:
    assert evaluated(facts, "2026-11-27T17:21Z")["state"] == "Ready"
    found = evaluated(facts, "2026-11-27T17:22Z")
    assert found["state"] == "Not known"
    assert found["in_the_way"] == ["inner-lock depth"]


def test_two_of_three_gauges_hold_until_15_52(facts: dict[str, Any]) -> None:
    facts["needs"]["inner-lock depth"]["k"] = 2
    found = evaluated(facts)
    assert (found["state"], found["holds_until"]) == ("Ready", "2026-11-27T15:52Z")


def test_one_litre_short_is_not_ready(facts: dict[str, Any]) -> None:
    facts["members"]["bank A"]["cylinders"][0]["usable"] = 6999
    found = evaluated(facts)
    assert found["state"] == "Not ready"
    assert found["in_the_way"] == ["oxygen"]
    assert (found["holds_until"], found["limiting"]) == (None, [])


def test_without_bo_one_place_is_short_and_one_more_for_either_role_lifts_it(facts: dict[str, Any]) -> None:
    del facts["people"]["Bo"]
    found = evaluated(facts)
    crew = found["findings"]["crew"]
    assert found["state"] == "Not ready"
    assert (crew["slots"], crew["filled"]) == (2, [1, 1, 1])
    assert crew["roles_short"] == ["panel", "tender"]
    assert crew["lifts"] == []
