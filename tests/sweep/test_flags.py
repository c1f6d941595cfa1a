"""The daily look in plain values: which day counts as due, overdue, lapsed, and what is new."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from facility.compute.facts_json import facility_of
from facility.compute.flags import Flag, FlagState, Sort, Thing, ahead_of, flag_of, later, news
from facility.compute.forecast import forecast
from facility.compute.instants import parse_instant
from facility.compute.states import State
from tests.make_facts import worked_example

TODAY = date(2026, 11, 27)


def thing(last_good: date | None, sort: Sort = Sort.RULE, window: int = 0) -> Thing:
    return Thing("rule:1", sort, "DG-1: calibration", 1, last_good, window)


@pytest.mark.parametrize(
    ("last_good", "sort", "window", "state"),
    [
        # good through its day: overdue from the day after (the rule of due dates in DEVELOPERS.md: `due_on` a date)
        (date(2026, 11, 27), Sort.RULE, 0, "due soon"),
        (date(2026, 11, 26), Sort.RULE, 0, "overdue"),
        (date(2026, 11, 26), Sort.RULE, 1, "due soon"),
        (date(2026, 11, 26), Sort.MEDICAL, 0, "lapsed"),
        (date(2026, 11, 26), Sort.QUALIFICATION, 0, "lapsed"),
        (date(2026, 11, 26), Sort.LIFE, 0, "lapsed"),
        (date(2026, 11, 26), Sort.CONTACT, 0, "overdue"),
        (date(2026, 12, 27), Sort.RULE, 0, "due soon"),  # 30 days: three of November, 27 of December
        (date(2026, 12, 28), Sort.RULE, 0, None),
        (None, Sort.CONTACT, 0, "never recorded"),
    ],
)
def test_a_day_is_judged_as_written(last_good: date | None, sort: Sort, window: int, state: str | None) -> None:
    found = flag_of(thing(last_good, sort, window), TODAY, soon_days=30)
    assert (found and found.state) == state


@given(st.dates(date(1990, 1, 1), date(2060, 1, 1)), st.integers(0, 400))
def test_soon_is_reckoned_as_another_library_does(last_good: date, soon: int) -> None:
    """Oracle: python-dateutil's relativedelta."""
    found = flag_of(thing(last_good), TODAY, soon)
    if last_good < TODAY:
        assert found is not None
        assert found.state == FlagState.OVERDUE
    else:
        assert (found is not None) == (last_good <= TODAY + relativedelta(days=soon))


def test_the_calendar_s_last_day_does_not_overflow() -> None:
    assert later(date.max - timedelta(days=1), 5) == date.max
    assert flag_of(thing(date.max, window=3), TODAY, 30) is None


def flag(key: str, state: FlagState = FlagState.OVERDUE, day: date | None = TODAY) -> Flag:
    return Flag(key, state, day, Sort.RULE, "a thing", 1)


def test_only_what_did_not_stand_is_new_and_only_what_is_gone_is_over() -> None:
    before = [flag("a").identity, flag("b").identity, flag("c").identity]
    found = [flag("a"), flag("b", FlagState.DUE_SOON), flag("d"), flag("d")]
    told = news(before, found)
    assert [one.key for one in told.new] == ["b", "d"]
    assert told.standing == 3
    assert told.over == {flag("b").identity, flag("c").identity}


def test_a_plan_is_foretold_on_the_worked_example_exactly_where_the_forecast_turns() -> None:
    """The worked example: G1 and G2 leave G3 alone on 28 November, needs of two of three gauges.

    Oracle: the forecast, whose rules are tested against an independent slow implementation.
    """
    facility, at = facility_of(worked_example()), parse_instant("2026-11-27T10:00Z")
    found = list(ahead_of(facility, at, 14 * 24 * 60))
    turns = [instant for instant, state in forecast(facility, "TT6", at) if state == State.NOT_READY]
    assert turns
    assert min(one.from_ for one in found) == turns[0]
    assert {one.plan for one in found} == {"TT6"}


def test_what_lies_past_the_lead_time_is_not_foretold() -> None:
    facility, at = facility_of(worked_example()), parse_instant("2026-11-27T10:00Z")
    first = min(one.from_ for one in ahead_of(facility, at, 14 * 24 * 60))
    assert list(ahead_of(facility, at, first - at - 1)) == []
    assert [one.from_ for one in ahead_of(facility, at, first - at)] == [first]


def test_what_stops_a_plan_already_is_not_foretold() -> None:
    facility, at = facility_of(worked_example()), parse_instant("2026-11-27T10:00Z")
    first = min(ahead_of(facility, at, 14 * 24 * 60), key=lambda one: one.from_)
    assert first.need not in {one.need for one in ahead_of(facility, first.from_, 14 * 24 * 60)}
