"""Plan and budget. Dates against dateutil-free sums by hand; the arithmetic of money against plain addition."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from maintenance.compute.budget import Ahead, BudgetError, busiest, by_month, priced, remembered, sums, times
from maintenance.compute.intervals import Span

TODAY = date(2026, 11, 25)


def test_a_half_yearly_calibration_comes_twice_a_year() -> None:
    """By the calendar: 31 May comes after 30 Nov since the anchor is the 31st; common practice, no source."""
    row = Ahead("G1", "calibration", date(2026, 12, 31), Span(months=6), price=Decimal(100), currency="NOK")
    found = times([row], TODAY, date(2027, 12, 31))
    assert [one.on for one in found] == [date(2026, 12, 31), date(2027, 6, 30), date(2027, 12, 31)]


def test_what_is_overdue_is_counted_today_and_then_from_today() -> None:
    row = Ahead("G1", "calibration", date(2026, 1, 10), Span(months=6))
    found = times([row], TODAY, date(2027, 11, 25))
    assert [(one.on, one.overdue) for one in found] == [
        (TODAY, True), (date(2027, 5, 25), False), (date(2027, 11, 25), False),
    ]  # fmt: skip


def test_an_end_of_life_comes_once() -> None:
    row = Ahead("W1", "new viewport", date(2027, 3, 1), price=Decimal(900), currency="NOK", life=True)
    assert len(times([row], TODAY, date(2036, 1, 1))) == 1


def test_what_nobody_can_date_is_left_out_of_the_times() -> None:
    assert times([Ahead("G2", "calibration", None, Span(months=6))], TODAY, date(2036, 1, 1)) == ()


def test_a_sum_says_how_many_acts_have_no_known_price() -> None:
    rows = [
        Ahead("G1", "calibration", date(2026, 12, 1), price=Decimal("120.50"), currency="NOK"),
        Ahead("G2", "calibration", date(2026, 12, 2), price=Decimal("99.50"), currency="NOK"),
        Ahead("G3", "calibration", date(2026, 12, 3), price=Decimal(10), currency="EUR"),
        Ahead("G4", "calibration", date(2026, 12, 4)),
        Ahead("G5", "calibration", date(2028, 1, 1), price=Decimal(1), currency="NOK"),
    ]
    found = times(rows, TODAY, date(2030, 1, 1))
    short, long = sums(found, [("a year", date(2027, 11, 25)), ("five", date(2030, 1, 1))])
    assert (short.acts, short.unpriced, short.totals) == (4, 1, {"NOK": Decimal("220.00"), "EUR": Decimal(10)})
    assert long.totals["NOK"] == Decimal("221.00")


def test_the_last_price_paid_is_remembered_unless_one_is_set() -> None:
    paid = remembered([(1, date(2025, 1, 1), Decimal(80), "NOK"), (1, date(2026, 1, 1), Decimal(95), "NOK")])
    own, unknown = priced(
        [Ahead("a", "x", TODAY, rule_id=1), Ahead("b", "y", TODAY, price=Decimal(5), currency="NOK", rule_id=1)], paid
    )
    assert own.price == Decimal(95)
    assert unknown.price == Decimal(5)


def test_months_and_the_busiest_one() -> None:
    found = times([Ahead("a", "x", date(2026, 12, 1)), Ahead("b", "y", date(2026, 12, 9)), Ahead("c", "z", date(2027, 2, 1))],
                  TODAY, date(2028, 1, 1))  # fmt: skip
    assert list(by_month(found)) == ["2026-12", "2027-02"]
    assert busiest(found) == ("2026-12", 2)
    assert busiest([]) is None


def test_an_interval_of_nothing_is_named() -> None:
    with pytest.raises(BudgetError, match="G1, calibration"):
        times([Ahead("G1", "calibration", TODAY, every_days=0)], TODAY, date(2027, 1, 1))


@given(st.integers(0, 2000), st.integers(1, 60), st.integers(0, 3000))
def test_a_longer_look_ahead_never_costs_less(offset: int, months: int, days: int) -> None:
    row = Ahead("a", "x", TODAY + timedelta(days=offset - 500), Span(months=months), price=Decimal(10), currency="NOK")
    near, far = TODAY + timedelta(days=days), TODAY + timedelta(days=days + 400)
    first, second = sums(times([row], TODAY, far), [("near", near), ("far", far)])
    assert first.acts <= second.acts
    assert first.totals.get("NOK", Decimal(0)) <= second.totals.get("NOK", Decimal(0))
    assert all(one.on >= TODAY for one in times([row], TODAY, far))
