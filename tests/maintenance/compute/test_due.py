"""When something falls due: worked values of published sources, edges, and laws."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

import pytest
from dateutil.relativedelta import relativedelta
from dateutil.rrule import MONTHLY, rrule
from hypothesis import given
from hypothesis import strategies as st

from maintenance.compute.counters import Reading
from maintenance.compute.due import (
    Anchor,
    Cause,
    Due,
    Happening,
    Last,
    by_age,
    by_calendar,
    by_counter,
    by_event,
    next_count,
)
from maintenance.compute.due_windows import PercentLaw, Window, WindowKind, allowance, opening, percent_days
from maintenance.compute.intervals import IntervalError, Span, add_months, end_of_month
from maintenance.worksheets.common import values

RULES = values("windows.toml")
LAW = PercentLaw(int(RULES["percentage.month_days"].number), int(RULES["percentage.cap_days"].number))
TEN = Window(WindowKind.PERCENTAGE, percent=RULES["percentage.percent"].number, law=LAW)
DATES = st.dates(date(1990, 1, 1), date(2090, 12, 31))
SPANS = st.builds(Span, st.integers(0, 120), st.integers(1, 400))


def test_a_twelve_month_inspection_may_be_done_thirty_days_either_side() -> None:
    """TM 1-1500-328-23, worked: due 6 Feb 1999, window 7 Jan to 8 Mar 1999."""
    found = opening(TEN, Span(12), date(1999, 2, 6), date(1998, 2, 6))
    assert (found.opens, found.closes) == (date(1999, 1, 7), date(1999, 3, 8))


def test_six_months_give_eighteen_days_and_eleven_months_are_capped() -> None:
    """TM 1-1500-328-23: six months counted as 180 days; the cap of 30 days is the facility's reading."""
    assert percent_days(Span(6), Decimal(10), LAW) == 18
    assert percent_days(Span(11), Decimal(10), LAW) == 30


@pytest.mark.parametrize(
    ("interval", "due_at", "window"),
    [("25", "1472.7", ("1470.2", "1475.2")), ("75", "1609.4", ("1604.4", "1614.4"))],
)
def test_hours_have_ten_percent_up_to_five_hours(interval: str, due_at: str, window: tuple[str, str]) -> None:
    """TM 1-1500-328-23, worked values of the hour windows."""
    allowed = allowance(Decimal(interval), RULES["hours.percent"].number, RULES["hours.cap"].number)
    assert (Decimal(due_at) - allowed, Decimal(due_at) + allowed) == tuple(map(Decimal, window))


def test_done_inside_its_hour_window_it_is_reckoned_from_the_due_hour() -> None:
    """TM 1-1500-328-23, worked: 75 h due at 1609.4, done inside, next 1684.4; outside it floats."""
    assert next_count(Decimal(75), Decimal("1612.0"), Decimal("1609.4"), Decimal(5)) == Decimal("1684.4")
    assert next_count(Decimal(75), Decimal("1615.0"), Decimal("1609.4"), Decimal(5)) == Decimal("1690.0")
    assert next_count(Decimal(75), Decimal("1612.0"), None, Decimal(5)) == Decimal("1687.0")


def test_life_limits_with_their_tolerance() -> None:
    """TM 1-1500-328-23, page 37: 300 h with 10 % is 270 to 330 h."""
    allowed = allowance(Decimal(300), Decimal(10), None)
    assert (300 - allowed, 300 + allowed) == (Decimal(270), Decimal(330))


def test_an_annual_survey_opens_three_months_before_and_closes_three_after() -> None:
    """IMO Code of safety for diving systems, 1.6: anniversary 15 May 2027; the next one is not moved."""
    window = Window(WindowKind.SYMMETRIC, Span(3), Span(3))
    last = Last(date(2026, 7, 20), due_on=date(2026, 5, 15))
    side = by_calendar(Span(12), last, Anchor.FIXED, window)
    assert side.due_on == date(2027, 5, 15)
    assert side.opening is not None
    assert (side.opening.opens, side.opening.closes) == (date(2027, 2, 15), date(2027, 8, 15))
    assert side.anchor_kept


def test_an_air_sample_is_allowed_from_four_to_eight_months_after_the_last() -> None:
    """U.S. Navy Diving Manual 4-4: every six months, from 4 to 8 months after the last one."""
    window = Window(WindowKind.FROM_DONE, Span(4), Span(8))
    side = by_calendar(Span(6), Last(date(2026, 1, 31)), window=window)
    assert side.opening is not None
    assert (side.due_on, side.opening.opens, side.opening.closes) == (
        date(2026, 7, 31),
        date(2026, 5, 31),
        date(2026, 9, 30),
    )


def test_outside_its_window_a_fixed_anchor_floats() -> None:
    """TM 1-1500-328-23, the out-of-window rule: done plus interval."""
    late = Last(date(1999, 3, 9), due_on=date(1999, 2, 6))
    inside = Last(date(1999, 3, 8), due_on=date(1999, 2, 6))
    assert by_calendar(Span(12), late, Anchor.FIXED, TEN).due_on == date(2000, 3, 9)
    assert by_calendar(Span(12), inside, Anchor.FIXED, TEN).due_on == date(2000, 2, 6)
    assert by_calendar(Span(12), Last(date(1999, 3, 8)), Anchor.FIXED, TEN).due_on == date(2000, 3, 8)


def test_monthly_upkeep_keeps_its_day_where_the_calendar_standard_skips_the_month() -> None:
    """RFC 5545, 3.3.10: invalid dates are ignored; dateutil is its oracle. Upkeep takes the last valid day."""
    start = date(2014, 12, 31)
    skipping = [one.date() for one in rrule(MONTHLY, dtstart=start, count=4)]
    assert skipping == [date(2014, 12, 31), date(2015, 1, 31), date(2015, 3, 31), date(2015, 5, 31)]
    assert [add_months(start, n) for n in range(4)] == [
        date(2014, 12, 31),
        date(2015, 1, 31),
        date(2015, 2, 28),
        date(2015, 3, 31),
    ]


def test_where_every_month_has_the_day_both_agree() -> None:
    """RFC 5545 and upkeep on the 28th: no month lacks it."""
    start = date(2023, 11, 28)
    expected = [one.date() for one in rrule(MONTHLY, dtstart=start, count=30)]
    assert [add_months(start, n) for n in range(30)] == expected


def test_the_day_of_the_month_comes_back_after_a_short_month() -> None:
    """31 Jan, 29 Feb, 31 Mar: the Gregorian calendar."""
    last = Last(date(2024, 2, 29), due_on=date(2024, 2, 29), day=31)
    assert by_calendar(Span(1), last, Anchor.FIXED).due_on == date(2024, 3, 31)


def test_an_item_is_good_through_the_end_of_its_due_day() -> None:
    side = by_calendar(Span(12), Last(date(2025, 5, 4)), window=TEN)
    due = Due((side,))
    assert due.in_date(date(2026, 5, 4))
    assert not due.in_date(date(2026, 5, 5))
    assert due.in_date(date(2026, 6, 3), window_keeps_good=True)
    assert not due.in_date(date(2026, 6, 4), window_keeps_good=True)


def test_a_counter_exactly_at_its_limit_has_reached_it() -> None:
    total = (Reading(date(2026, 1, 1), Decimal(480)), Reading(date(2026, 2, 1), Decimal(500)))
    due = Due((by_counter(Decimal(500), total, 365),))
    assert due.sides[0].reached
    assert not due.in_date(date(2026, 2, 1))
    assert Due((by_counter(Decimal(501), total, 365),)).in_date(date(2026, 2, 1))


def test_a_projected_day_that_passed_without_a_reading_ends_it() -> None:
    total = (Reading(date(2026, 1, 1), Decimal(0)), Reading(date(2026, 1, 11), Decimal(10)))
    due = Due((by_counter(Decimal(20), total, 365),))
    assert due.first is not None
    assert due.first.due_on == date(2026, 1, 21)
    assert due.in_date(date(2026, 1, 21))
    assert not due.in_date(date(2026, 1, 22))


def test_without_use_there_is_no_date_and_nothing_is_due() -> None:
    total = (Reading(date(2026, 1, 1), Decimal(7)), Reading(date(2026, 3, 1), Decimal(7)))
    due = Due((by_counter(Decimal(20), total, 365),))
    assert due.first is None
    assert due.in_date(date(2030, 1, 1))
    assert Due((by_counter(Decimal(20), (), 365),)).first is None


def test_whichever_comes_first_names_its_cause() -> None:
    due = Due((by_calendar(Span(12), Last(date(2026, 1, 1))), by_age(Span(6), date(2026, 1, 1))))
    assert due.first is not None
    assert (due.first.cause, due.first.due_on) == (Cause.LIFE_AGE, date(2026, 7, 1))


def test_being_moved_asks_for_the_leak_test_again() -> None:
    """U.S. Navy Diving Manual 22-6.2: each time the chamber is moved."""
    happenings = [Happening("moved", date(2026, 3, 4)), Happening("painted", date(2026, 2, 2))]
    side = by_event(Last(date(2026, 1, 1)), frozenset({"moved"}), happenings)
    assert side is not None
    assert (side.due_on, side.event) == (date(2026, 3, 4), "moved")
    assert not Due((side,)).in_date(date(2026, 3, 4))
    assert by_event(Last(date(2026, 3, 4)), frozenset({"moved"}), happenings) is None


def test_a_month_runs_out_at_its_end() -> None:
    assert end_of_month(date(2024, 2, 3)) == date(2024, 2, 29)


def test_impossible_intervals_and_windows_are_refused() -> None:
    last = Last(date(2026, 1, 1), due_on=date(2025, 12, 20))
    with pytest.raises(IntervalError, match="never falls due"):
        by_calendar(Span(), last)
    with pytest.raises(IntervalError, match="closes before it opens"):
        by_calendar(Span(6), last, window=Window(WindowKind.FROM_DONE, Span(8), Span(4)))
    with pytest.raises(IntervalError, match="reaches over the whole interval"):
        by_calendar(Span(days=5), last, Anchor.FIXED, Window(WindowKind.ASYMMETRIC, Span(), Span(days=30)))
    with pytest.raises(IntervalError, match="days of a month"):
        opening(Window(WindowKind.PERCENTAGE, percent=Decimal(10)), Span(6), date(2026, 1, 1), date(2025, 7, 1))
    with pytest.raises(IntervalError, match="leave the calendar"):
        add_months(date(9999, 1, 1), 12)
    with pytest.raises(IntervalError, match="leave the calendar"):
        Span(days=99).after(date(9999, 12, 31))


@given(DATES, SPANS, st.sampled_from(Anchor), st.integers(-60, 60), st.sampled_from([TEN, Window()]))
def test_due_never_comes_before_done(done: date, interval: Span, anchor: Anchor, late: int, window: Window) -> None:
    last = Last(done, due_on=done - timedelta(days=late))
    side = by_calendar(interval, last, anchor, window)
    assert side.due_on is not None
    assert side.due_on > done


@given(DATES, st.integers(1, 120), st.decimals(0, 50, places=1), st.decimals(0, 50, places=1))
def test_a_wider_window_holds_the_narrower(due: date, months: int, one: Decimal, other: Decimal) -> None:
    low, high = sorted((one, other))
    done = due - relativedelta(months=months)
    narrow, wide = (
        opening(Window(WindowKind.PERCENTAGE, percent=part, law=LAW), Span(months), due, done) for part in (low, high)
    )
    assert wide.opens <= narrow.opens <= due <= narrow.closes <= wide.closes


@given(DATES, st.integers(1, 120))
def test_calendar_sides_agree_with_dateutil(done: date, months: int) -> None:
    """dateutil's relativedelta is the independent reckoning."""
    assert by_calendar(Span(months), Last(done)).due_on == done + relativedelta(months=months)
