"""Conversions against pint, an independent general-purpose library."""

from __future__ import annotations

from decimal import Decimal

import pint
import pytest

from facility.compute.units import UnitError, cubic_metres, kpa_from, pressure_to
from facility.reference import units

REGISTRY: pint.UnitRegistry[float] = pint.UnitRegistry()


@pytest.mark.parametrize("unit", ["bar", "kPa", "MPa", "psi"])
def test_pressure_units_agree_with_pint(unit: str) -> None:
    expected = REGISTRY.Quantity(1, unit).to("kPa").magnitude
    assert float(kpa_from(Decimal(1), unit, units())) == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize(("unit", "word"), [("m3", "m**3"), ("L", "liter"), ("ft3", "ft**3")])
def test_volume_units_agree_with_pint(unit: str, word: str) -> None:
    expected = REGISTRY.Quantity(1, word).to("m**3").magnitude
    assert float(cubic_metres(Decimal(1), unit, units())) == pytest.approx(expected, rel=1e-6)


def test_a_foot_of_sea_water_follows_from_density_and_gravity() -> None:
    """0.3048 m x 1025 kg/m3 x 9.80665 m/s2, all but the density exact by definition."""
    assert float(kpa_from(Decimal(1), "fsw", units())) == pytest.approx(0.3048 * 1025 * 9.80665 / 1000, rel=1e-4)


def test_sixty_feet_is_about_eighteen_metres() -> None:
    """60 fsw is 18.38 msw, handbook arithmetic."""
    metres = pressure_to(kpa_from(Decimal(60), "fsw", units()), "msw", units())
    assert float(metres) == pytest.approx(18.38, abs=0.01)


def test_pure_oxygen_at_sixty_feet_is_about_2_8_atmospheres() -> None:
    """Common practice, no source."""
    absolute = kpa_from(Decimal(60), "fsw", units()) + Decimal("101.325")
    assert float(absolute / Decimal("101.325")) == pytest.approx(2.8, abs=0.05)


def test_an_unknown_unit_names_the_known_ones() -> None:
    with pytest.raises(UnitError, match=r"'atm' is not a unit of pressure.*fsw, msw, bar"):
        kpa_from(Decimal(1), "atm", units())
