"""Sums of gas, orders and use against CoolProp, pint and the rules of a calendar (RFC 5545 by dateutil)."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pint
import pytest
from CoolProp import CoolProp
from dateutil.rrule import DAILY, rrule
from hypothesis import given
from hypothesis import strategies as st

from maintenance.compute.gas_sum import equalised_gauge_kpa, gas_sum, held
from maintenance.compute.supply import SupplyError, order_by, runs_left, runs_out_on, use_of
from maintenance.reference import gas_law

FLUIDS = [("O2", "Oxygen"), ("AIR", "Air")]
TODAY = date(2026, 3, 12)  # a Thursday
ATMOSPHERE_PA = 101_325.0


def density(fluid: str, gauge_bar: float, celsius: float) -> float:
    """Return the density by CoolProp [kg/m3]."""
    found: float = CoolProp.PropsSI("D", "P", gauge_bar * 1e5 + ATMOSPHERE_PA, "T", celsius + 273.15, fluid)
    return found


@pytest.mark.parametrize(("gas", "fluid"), FLUIDS)
@pytest.mark.parametrize("bar", [15, 51, 100, 149, 200, 250, 300])
@pytest.mark.parametrize("celsius", [0, 7, 15, 20, 33, 50])
def test_usable_content_agrees_with_coolprop(gas: str, fluid: str, bar: float, celsius: float) -> None:
    """CoolProp gives the density at both pressures; the fit's Z is good to 0.0006, so the mass to 0.1 %."""
    expected = 50e-3 * (density(fluid, bar, celsius) - density(fluid, 7, celsius))
    found = gas_sum(gas_law(gas), 50, bar * 100, celsius, minimum_gauge_kpa=700)
    assert found.usable_kg == pytest.approx(expected, rel=2e-3)
    standard = CoolProp.PropsSI("D", "P", ATMOSPHERE_PA, "T", 288.15, fluid)
    assert found.usable_litres == pytest.approx(1000 * expected / standard, rel=2e-3)


def test_the_ideal_law_promises_a_tenth_too_much_air_at_300_bar() -> None:
    """CoolProp 8.0.0, 300 bar absolute, 20 degC, 50 L: air 16.142 kg, the ideal law 10.43 % more."""
    found = held(gas_law("AIR"), 50, 30_000 - 101.325, 20)
    assert found.kilograms == pytest.approx(16.142, rel=1e-3)
    assert 100 * (found.ideal_kilograms / found.kilograms - 1) == pytest.approx(10.43, abs=0.1)


def test_the_sum_can_be_worked_by_hand_with_its_units() -> None:
    """pint works p V M / (Z R T) with the figures of the sum and finds the same mass."""
    unit: Any = pint.UnitRegistry()
    law = gas_law("O2")
    full = gas_sum(law, 50, 20_000, 20).full
    mass = (
        unit.Quantity(full.absolute_kpa, "kPa") * unit.Quantity(50, "L") * unit.Quantity(law.molar_mass, "kg/mol")
        / (full.z * unit.Quantity(1, "molar_gas_constant") * unit.Quantity(293.15, "K"))
    ).to("kg")  # fmt: skip
    assert full.kilograms == pytest.approx(mass.magnitude, rel=1e-9)
    assert full.kilograms == pytest.approx(14.048, rel=1e-3)  # CoolProp 8.0.0: 200 bar gauge, 50 L, 20 degC


@given(
    st.sampled_from(["O2", "AIR"]), st.floats(0, 30_000), st.floats(1, 900), st.floats(0, 50), st.floats(0.5, 20_000)
)
def test_content_falls_with_pressure(gas: str, kpa: float, less: float, celsius: float, water: float) -> None:
    law = gas_law(gas)
    lower = gas_sum(law, water, max(0.0, kpa - less), celsius)
    higher = gas_sum(law, water, kpa + 1, celsius)
    assert lower.usable_litres < higher.usable_litres


@given(st.floats(100, 30_000), st.floats(100, 30_000), st.floats(0, 50))
def test_cylinders_opened_to_each_other_come_to_rest_between_both(first: float, second: float, celsius: float) -> None:
    law = gas_law("AIR")
    found = equalised_gauge_kpa(law, [(50, first, celsius), (50, second, celsius)], celsius)
    assert min(first, second) - 1 <= found <= max(first, second) + 1
    together = held(law, 100, found, celsius).kilograms
    apart = held(law, 50, first, celsius).kilograms + held(law, 50, second, celsius).kilograms
    assert together == pytest.approx(apart, rel=1e-6)


@given(st.integers(-30, 400), st.integers(0, 60), st.sets(st.integers(1, 7)))
def test_an_order_is_never_later_than_the_day_it_runs_out_less_the_time_it_takes(
    ahead: int, lead: int, weekdays: set[int]
) -> None:
    out = TODAY + timedelta(days=ahead)
    found = order_by(TODAY, out, lead, weekdays)
    assert found.order_on <= out - timedelta(days=lead)
    assert found.arrives_on <= out
    assert found.next_arrival_on >= TODAY + timedelta(days=lead)
    assert (found.late_days > 0) is (found.order_on < TODAY)


@given(st.integers(0, 400), st.integers(0, 60), st.sets(st.integers(1, 7), min_size=1))
def test_delivery_days_are_those_of_the_calendar(ahead: int, lead: int, weekdays: set[int]) -> None:
    """RFC 5545 BYDAY as dateutil reads it, Monday first."""
    out = TODAY + timedelta(days=ahead)
    days = rrule(DAILY, dtstart=datetime(2026, 1, 1, tzinfo=UTC), byweekday=[day - 1 for day in weekdays])
    before = days.before(datetime(out.year, out.month, out.day, tzinfo=UTC), inc=True)
    soonest = TODAY + timedelta(days=lead)
    after = days.after(datetime(soonest.year, soonest.month, soonest.day, tzinfo=UTC), inc=True)
    found = order_by(TODAY, out, lead, weekdays)
    assert before is not None
    assert after is not None
    assert (found.arrives_on, found.next_arrival_on) == (before.date(), after.date())


def test_a_boat_on_tuesdays_and_fridays_is_ordered_ten_days_before_the_last_that_comes_in_time() -> None:
    """By hand with a calendar of 2026: it runs out on Thursday 2 April, the last boat is on Tuesday 31 March."""
    found = order_by(TODAY, date(2026, 4, 2), 10, [2, 5])
    assert (found.arrives_on, found.order_on) == (date(2026, 3, 31), date(2026, 3, 21))
    assert (found.late_days, found.without_days) == (0, 0)


def test_an_order_that_comes_too_late_says_how_long_there_is_nothing() -> None:
    """By hand: out on Monday 16 March, 10 days to deliver on Tuesdays and Fridays: Tuesday 24 March at the soonest."""
    found = order_by(TODAY, date(2026, 3, 16), 10, [2, 5])
    assert (found.order_on, found.late_days) == (date(2026, 3, 3), 9)
    assert (found.next_arrival_on, found.without_days) == (date(2026, 3, 24), 8)


def test_a_supply_that_cannot_be_is_refused_with_what_is_allowed() -> None:
    with pytest.raises(SupplyError, match="1 Monday to 7 Sunday"):
        order_by(TODAY, TODAY, 3, [0])
    with pytest.raises(SupplyError, match="0 or more"):
        order_by(TODAY, TODAY, -1)
    with pytest.raises(SupplyError, match="more than 0"):
        runs_left(1000, 0, 0)
    with pytest.raises(SupplyError, match="must be numbers"):
        runs_out_on(TODAY, float("nan"), 0, 1)


def test_the_day_it_runs_out_cuts_fractions_off() -> None:
    """By hand: (100 000 - 37 000) L at 10 000 L a day is 6.3 days."""
    assert runs_out_on(TODAY, 100_000, 37_000, 10_000) == date(2026, 3, 18)
    assert runs_out_on(TODAY, 100_000, 37_000, 0) is None
    assert runs_out_on(TODAY, 37_000, 37_000, 0) == TODAY


def test_runs_left_keep_the_reserve_at_the_start_of_each() -> None:
    """By hand: 54 000 L, 20 000 L reserve, 13 000 L a run: 34 000 / 13 000 = 2.6."""
    assert runs_left(54_000, 13_000, 20_000) == 2
    assert runs_left(10_000, 13_000, 20_000) == 0


def test_use_counts_falls_apart_from_what_came_in_and_leaves_noise_out() -> None:
    """By hand: 100, 99.5, 80, 95, 85: drawn 20 + 10, added 15 over 8 days; half a litre is noise."""
    begin = datetime(2026, 3, 1, 20, 0, tzinfo=UTC)
    contents = [100, 99.5, 80, 95, 85]
    found = use_of([(begin + timedelta(days=2 * place), one) for place, one in enumerate(contents)], 1)
    assert found is not None
    assert (found.drawn, found.added, found.days, found.per_day) == (30, 15, 8, 3.75)
    assert use_of([(begin, 100.0)], 1) is None
