"""The worksheet of due dates as a whole, against published worked values."""

from __future__ import annotations

from typing import Any

import pytest

from facility.compute.worksheet import InputError
from facility.compute.worksheet_reading import run
from facility.worksheets.catalogue import worksheets


def due(**given: Any) -> dict[str, Any]:
    return run(worksheets()["interval_due"], {"today": "2026-03-01", **given})


def test_a_vessel_deferred_to_its_hard_stop() -> None:
    """UFC 3-430-07: April 2015, six years, put off by clean three-year looks, never past April 2027."""
    asked: dict[str, Any] = {"done_on": "2015-04", "months": 72, "deferral_months": 36, "hard_stop_months": 144}
    looks = [{"on": "2021-04-10", "clean": True}, {"on": "2024-04-20", "clean": True}]
    assert due(**asked)["due_on"] == "2021-04-30"
    assert due(**asked, inspections=looks[:1])["due_on"] == "2024-04-30"
    found = due(**asked, inspections=looks)
    assert (found["due_on"], found["hard_stop_on"], found["deferrals"]) == ("2027-04-30", "2027-04-30", 2)


def test_an_hour_interval_with_its_window() -> None:
    """TM 1-1500-328-23, worked: 75 h due 1609.4, done in its window, next 1684.4."""
    found = due(done_on="2026-01-01", counter_interval=75, counter_done="1612", counter_due="1609.4", counter_window=5)
    assert (found["next_count"], found["count_opens"], found["count_closes"]) == (1684.4, 1679.4, 1689.4)
    assert found["due_on"] is None
    assert found["in_date"]


def test_whichever_comes_first_with_a_projected_day() -> None:
    """By hand: 7300 cycles in 2557 days, limit 10 000: 1 Oct 2028, before ten years end on 1 Mar 2029."""
    readings = [{"on": "2019-03-01", "value": 0}, {"on": "2026-03-01", "value": 7300}]
    found = due(
        done_on="2019-03-01",
        readings=readings,
        usage_span_days=36525,
        life_from="2019-03-01",
        life_months=120,
        life_count=10000,
    )
    assert (found["due_on"], found["due_by"], found["projected_on"]) == ("2028-10-01", "life by count", "2028-10-01")
    assert found["usage_per_day"] == pytest.approx(2.855, abs=0.0005)
    assert len(found["reasons"]) == 2


def test_reasons_are_said_for_each_cause() -> None:
    found = due(
        done_on="2026-01-10",
        due_on="2026-01-01",
        months=6,
        anchor="fixed",
        window="symmetric",
        window_before_days=10,
        counter_interval=10,
        counter_done=0,
        counter_unit="h",
        life_from="2020-01-01",
        life_months=240,
        readings=[{"on": "2026-01-10", "value": 0}, {"on": "2026-02-10", "value": 11}],
        events=[{"kind": "moved", "on": "2026-02-01"}],
    )
    words = " ".join(found["reasons"])
    assert "reckoned from the day it had been due" in words
    assert "10 h reached on 2026-02-10" in words
    assert "moved on 2026-02-01" in words
    assert "Life by age ends after 2040-01-01" in words
    assert (found["due_by"], found["in_date"]) == ("event", False)


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({}, "months: missing"),
        ({"months": 6, "anchor": "fixed"}, "due_on: missing"),
        ({"months": 6, "window": "percentage"}, "window_percent: missing"),
        ({"months": 6, "window": "symmetric"}, "window_before_days: missing"),
        ({"months": 6, "window": "symmetric", "window_before_days": 3, "window_after_days": 4}, "window_after_days: 4"),
        (
            {"months": 6, "window": "after the last act", "window_before_months": 8, "window_after_months": 4},
            "window: ",
        ),
        ({"months": 1200, "life_from": "9999-01-01", "life_months": 12}, "done_on: 2026-01-01 .*years 1 to 9999"),
        ({"counter_interval": 6}, "counter_done: missing"),
        ({"life_months": 6}, "life_from: missing"),
        ({"months": 6, "hard_stop_months": 12}, "deferral_months: missing"),
        ({"deferral_months": 6, "hard_stop_months": 12}, "months: missing"),
        ({"events": [{"kind": "moved"}]}, "events, row 1, on: missing"),
        ({"events": "moved"}, "events: 'moved'"),
        ({"events": ["moved"]}, "events: 'moved'"),
    ],
)
def test_what_is_missing_for_a_due_date_is_named(given: dict[str, Any], words: str) -> None:
    with pytest.raises(InputError, match=words):
        due(done_on="2026-01-01", **given)


def test_a_counter_that_went_down_is_refused_in_words() -> None:
    readings = [{"on": "2026-01-01", "value": 9}, {"on": "2026-02-01", "value": 3}]
    with pytest.raises(ValueError, match="a counter only goes up"):
        due(done_on="2026-01-01", counter_interval=10, counter_done=0, readings=readings)


def test_the_example_by_hand() -> None:
    """Six months from 31 Jan: 31 Jul, 18 days either side; 480 cycles in 203 days, 420 left: 177 days from 20 Feb."""
    sheet = worksheets()["interval_due"]
    found = run(sheet, sheet.examples)
    assert (found["due_on"], found["window_opens"], found["window_closes"]) == (
        "2026-07-31",
        "2026-07-13",
        "2026-08-18",
    )
    assert (found["next_count"], found["projected_on"]) == (7600, "2026-08-16")
