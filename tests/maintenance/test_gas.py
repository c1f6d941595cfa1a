"""Content of cylinders against CoolProp, an independent general-purpose library."""

from __future__ import annotations

import pytest
from CoolProp import CoolProp

from maintenance.compute.gas import GasError, compressibility, content_kg, usable_litres
from maintenance.reference import gas_law

FLUIDS = [("O2", "Oxygen"), ("AIR", "Air")]


@pytest.mark.parametrize(("gas", "fluid"), FLUIDS)
@pytest.mark.parametrize("bar", [1.01325, 5, 20, 51, 100, 149, 201.01325, 250, 300, 310])
@pytest.mark.parametrize("celsius", [0, 7, 15, 20, 33, 50])
def test_compressibility_agrees_with_coolprop(gas: str, fluid: str, bar: float, celsius: float) -> None:
    """CoolProp gives the expected value; the stated accuracy of the fit is 0.0006."""
    expected = CoolProp.PropsSI("Z", "P", bar * 1e5, "T", celsius + 273.15, fluid)
    assert compressibility(gas_law(gas), bar * 100, celsius) == pytest.approx(expected, abs=0.0006)


@pytest.mark.parametrize(
    ("gas", "bar", "celsius", "kilograms"),
    [("O2", 200, 20, 13.980), ("O2", 300, 10, 21.110), ("AIR", 200, 20, 11.582), ("AIR", 300, 40, 14.962)],
)
def test_fifty_litres_hold_what_the_published_table_says(
    gas: str, bar: float, celsius: float, kilograms: float
) -> None:
    """Computed with CoolProp 8.0.0 by others beforehand: 50 L water capacity, absolute pressure."""
    assert content_kg(gas_law(gas), 50, bar * 100, celsius) == pytest.approx(kilograms, rel=0.001)


def test_the_gauge_reads_one_atmosphere_less_than_the_gas_has() -> None:
    """200 bar gauge is 201.013 bar absolute: oxygen 14.048 kg in 50 L at 20 degC (CoolProp 8.0.0)."""
    law = gas_law("O2")
    litres = usable_litres(law, 50, 20_000, 20, minimum_gauge_kpa=0)
    in_cylinder_at_0_gauge = content_kg(law, 50, 101.325, 20)
    assert litres * law.reference_density / 1000 == pytest.approx(14.048 - in_cylinder_at_0_gauge, rel=0.001)


def test_nothing_is_usable_below_the_minimum() -> None:
    assert usable_litres(gas_law("O2"), 50, 1_000, 15, minimum_gauge_kpa=2_000) == 0


@pytest.mark.parametrize(("kpa", "celsius"), [(-1, 20), (31_101, 20), (20_000, -6), (20_000, 56), (float("nan"), 20)])
def test_a_state_outside_the_law_is_refused(kpa: float, celsius: float) -> None:
    with pytest.raises(GasError, match="gas law holds"):
        compressibility(gas_law("AIR"), kpa, celsius)
