"""Counters, projected dates, deferrals, lives of viewports and cylinders."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from maintenance.compute.counters import (
    CounterError,
    MeterReplacement,
    Reading,
    projected_on,
    reached_on,
    running_total,
    usage,
)
from maintenance.compute.deferral import DeferralRule, Inspection, deferred
from maintenance.compute.intervals import Span
from maintenance.compute.requalification import (
    MonthRule,
    StarFacts,
    StarFault,
    StarLaw,
    pressure_of_test,
    requalification_due,
    star_faults,
)
from maintenance.compute.viewport_life import (
    CountedFrom,
    Ending,
    Viewport,
    ViewportError,
    ViewportLaw,
    viewport_life,
)

HYDRO = DeferralRule(Span(72), Span(36), Span(144))
TESTED = date(2015, 4, 30)
LAW = ViewportLaw(years=10, cycles=Decimal(10000), storage_years=10, more_years=10)
CYCLES = (Reading(date(2019, 3, 1), Decimal(0)), Reading(date(2026, 3, 1), Decimal(7300)))


def test_a_changed_meter_is_an_offset_and_no_reading_is_edited() -> None:
    """By hand: 900 h on the old meter, the new one starts at 5; 105 on it is 1000 in all."""
    readings = [Reading(date(2026, 1, 1), Decimal(850)), Reading(date(2026, 6, 1), Decimal(105))]
    total = running_total(readings, [MeterReplacement(date(2026, 3, 1), Decimal(900), Decimal(5))])
    assert [one.value for one in total] == [850, 1000]


def test_a_counter_that_goes_down_is_refused() -> None:
    readings = [Reading(date(2026, 1, 1), Decimal(52)), Reading(date(2026, 2, 1), Decimal(40))]
    with pytest.raises(CounterError, match="Reading 40 on 2026-02-01 is 12 less"):
        running_total(readings)


def test_rate_span_and_scatter_by_hand() -> None:
    """10 in 10 days, then 30 in 10 days: 1 and 3 a day, 2 over all; deviation of (1, 3) is the root of 2."""
    total = [
        Reading(date(2026, 1, 1), Decimal(0)),
        Reading(date(2026, 1, 11), Decimal(10)),
        Reading(date(2026, 1, 21), Decimal(40)),
    ]
    found = usage(total, 365)
    assert found is not None
    assert (found.per_day, found.slowest, found.fastest) == (Fraction(2), Fraction(1), Fraction(3))
    assert found.span_days == 20
    assert found.scatter == pytest.approx(2**0.5)
    short = usage(total, 10)
    assert short is not None
    assert (short.per_day, short.scatter) == (Fraction(3), None)


def test_readings_of_one_day_give_no_rate() -> None:
    assert usage([Reading(date(2026, 1, 1), Decimal(1)), Reading(date(2026, 1, 1), Decimal(3))], 9) is None
    assert usage([], 9) is None


def test_a_date_beyond_the_calendar_is_no_date() -> None:
    assert projected_on(CYCLES[0], Decimal(10), Fraction(1, 10**9)) is None
    assert projected_on(CYCLES[0], Decimal(10), Fraction(0)) is None


def test_a_window_in_service_since_march_2019_reaches_its_cycles_in_october_2028() -> None:
    """By hand: 7300 cycles in 2557 days, 2700 left, 945.7 days, cut: 1 Oct 2028, before 1 Mar 2029."""
    life = viewport_life(Viewport(date(2018, 6, 15), date(2019, 3, 1), True), CYCLES, LAW, date(2026, 3, 1), 36525)
    assert life.usage is not None
    assert float(life.usage.per_day) == pytest.approx(2.855, abs=0.0005)
    assert (life.ends_on, life.ending, life.ends_by_years) == (date(2028, 10, 1), Ending.CYCLES, date(2029, 3, 1))
    assert not life.over(date(2028, 10, 1))
    assert life.over(date(2028, 10, 2))


@pytest.mark.parametrize(
    ("installed", "stored", "start", "because"),
    [
        (date(2019, 3, 1), True, date(2019, 3, 1), CountedFrom.INSTALLED),
        (date(2029, 3, 1), True, date(2028, 6, 15), CountedFrom.STORAGE_OVER),
        (date(2019, 3, 1), False, date(2018, 6, 15), CountedFrom.FABRICATED),
        (None, True, date(2028, 6, 15), CountedFrom.STORAGE_OVER),
    ],
)
def test_storage_as_asked_does_not_count_for_ten_years(
    installed: date | None, stored: bool, start: date, because: CountedFrom
) -> None:
    """ASME PVHO-2, storage; what counts beyond ten years is the facility's reading."""
    life = viewport_life(Viewport(date(2018, 6, 15), installed, stored), (), LAW, date(2026, 3, 1), 365)
    assert (life.counted_from, life.because, life.ending) == (start, because, Ending.YEARS)


def test_reached_cycles_end_a_window_at_once() -> None:
    total = (*CYCLES, Reading(date(2026, 9, 1), Decimal(10000)))
    life = viewport_life(Viewport(date(2018, 6, 15), date(2019, 3, 1), True), total, LAW, date(2026, 9, 1), 365)
    assert life.cycles_reached
    assert life.ends_on == date(2026, 9, 1)
    assert life.over(date(2026, 9, 1))


def test_a_window_installed_before_it_was_made_is_refused() -> None:
    with pytest.raises(ViewportError, match="2018-06-15"):
        viewport_life(Viewport(date(2018, 6, 15), date(2018, 6, 14), True), (), LAW, date(2026, 3, 1), 365)


@pytest.mark.parametrize(
    ("clean_on", "due", "times"),
    [
        ([], date(2021, 4, 30), 0),
        ([date(2018, 4, 12)], date(2021, 4, 30), 0),
        ([date(2021, 4, 12)], date(2024, 4, 30), 1),
        ([date(2021, 4, 12), date(2024, 4, 12)], date(2027, 4, 30), 2),
        ([date(2021, 4, 12), date(2024, 4, 12), date(2027, 4, 12)], date(2027, 4, 30), 2),
    ],
)
def test_a_vessel_test_is_put_off_to_its_hard_stop_while_inspections_are_clean(
    clean_on: list[date], due: date, times: int
) -> None:
    """UFC 3-430-07: six years, deferrable to the next three-year look, never beyond twelve. April 2015."""
    found = deferred(HYDRO, TESTED, [Inspection(one, True) for one in clean_on], month_only=True)
    assert (found.first_due_on, found.due_on, found.times) == (date(2021, 4, 30), due, times)
    assert found.hard_stop_on == date(2027, 4, 30)


def test_corrosion_ends_all_deferring() -> None:
    seen = [Inspection(date(2018, 4, 12), False), Inspection(date(2021, 4, 12), True)]
    found = deferred(HYDRO, TESTED, seen, month_only=True)
    assert (found.due_on, found.may_defer_again) == (date(2021, 4, 30), False)


def test_with_full_dates_a_day_early_defers_nothing() -> None:
    on_the_day = deferred(HYDRO, TESTED, [Inspection(date(2021, 4, 30), True)])
    early = deferred(HYDRO, TESTED, [Inspection(date(2021, 4, 29), True)])
    assert (on_the_day.due_on, early.due_on) == (date(2024, 4, 30), date(2021, 4, 30))


@given(st.lists(st.tuples(st.dates(date(2015, 1, 1), date(2060, 1, 1)), st.booleans()), max_size=8))
def test_no_deferral_passes_the_hard_stop(seen: list[tuple[date, bool]]) -> None:
    found = deferred(HYDRO, TESTED, [Inspection(*one) for one in seen], month_only=True)
    assert found.first_due_on <= found.due_on <= found.hard_stop_on


@given(st.lists(st.integers(0, 1000), min_size=2, max_size=12), st.integers(1, 5000))
def test_a_projected_day_never_comes_before_the_last_reading(steps: list[int], more: int) -> None:
    start, total, value = date(2026, 1, 1), [], Decimal(0)
    for number, step in enumerate(steps):
        value += step
        total.append(Reading(start + timedelta(days=number * 7), value))
    rate = usage(total, 36525)
    assert rate is not None
    when = projected_on(total[-1], value + more, rate.per_day)
    assert when is None or when >= total[-1].on
    assert reached_on(total, value + more) is None


def test_a_stamp_of_a_month_runs_out_at_its_end_or_on_its_first_as_the_house_says() -> None:
    """Five years after a stamp of February 2024: the Gregorian calendar."""
    stamp = date(2024, 2, 29)
    assert requalification_due(stamp, 5, month_only=True) == date(2029, 2, 28)
    assert requalification_due(stamp, 5, month_only=True, rule=MonthRule.FIRST) == date(2029, 2, 1)
    assert requalification_due(date(2023, 2, 28), 5, month_only=True) == date(2028, 2, 29)
    assert requalification_due(date(2023, 2, 28), 5, month_only=False) == date(2028, 2, 28)


def test_each_broken_condition_voids_the_star() -> None:
    """49 CFR 180.209(b) as told by two pages; size and age from memory."""
    law = StarLaw(Decimal("56.7"), 35, 10, 5)
    good = StarFacts(date(1998, 5, 31), Decimal("56.7"), True, True, True)
    assert star_faults(good, law, date(2033, 5, 31)) == ()
    assert star_faults(good, law, date(2033, 6, 1)) == (StarFault.TOO_OLD,)
    bad = StarFacts(date(1998, 5, 31), Decimal("56.8"), False, False, False)
    assert star_faults(bad, law, date(2026, 1, 1)) == tuple(StarFault)[:4]


def test_steel_is_tested_at_five_thirds() -> None:
    """49 CFR 180.209, table 1: 5/3 of service pressure; 2400 psi gives 4000 psi."""
    assert pressure_of_test(Decimal(2400), 5, 3) == 4000
