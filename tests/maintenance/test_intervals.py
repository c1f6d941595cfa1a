"""Due dates of calendar intervals."""

from __future__ import annotations

from datetime import date

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from maintenance.compute.intervals import IntervalError, add_months, next_due

DATES = st.dates(date(1990, 1, 1), date(2090, 12, 31))


def test_the_anchor_day_is_kept_over_a_short_month() -> None:
    """31 Jan, 29 Feb, 31 Mar in a leap year: the Gregorian calendar."""
    assert [add_months(date(2024, 1, 31), n) for n in (1, 2)] == [date(2024, 2, 29), date(2024, 3, 31)]


def test_a_leap_day_falls_due_on_the_last_of_february() -> None:
    assert add_months(date(2024, 2, 29), 60) == date(2029, 2, 28)


def test_an_air_sample_of_the_last_of_october_falls_due_at_the_end_of_april() -> None:
    """Six months after 31 Oct 2025 by the handbook's half-year rule, month end clamped."""
    assert next_due(date(2025, 10, 31), months=6, days=0) == date(2026, 4, 30)


@given(DATES, st.integers(0, 240))
def test_months_agree_with_dateutil(anchor: date, months: int) -> None:
    """dateutil's relativedelta is the independent reckoning."""
    assert add_months(anchor, months) == anchor + relativedelta(months=months)


@given(DATES, st.integers(0, 120), st.integers(1, 400))
def test_due_never_comes_before_done(done_on: date, months: int, days: int) -> None:
    assert next_due(done_on, months=months, days=days) > done_on


@pytest.mark.parametrize(("months", "days"), [(0, 0), (-1, 5), (3, -1)])
def test_an_interval_of_nothing_is_refused(months: int, days: int) -> None:
    with pytest.raises(IntervalError, match="never falls due"):
        next_due(date(2026, 1, 1), months=months, days=days)
