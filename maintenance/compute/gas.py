"""How much gas a cylinder holds, by the real-gas law.

The ideal law overstates air at 300 bar by about a tenth and understates oxygen at
200 bar by about a sixteenth, so neither is good enough to say that a run can be finished.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite

GAS_CONSTANT = 8.314462618  # J/(mol K), exact by the SI's definition of 2019
ATMOSPHERE_KPA = 101.325  # standard atmosphere, exact by definition
CELSIUS_ZERO = 273.15  # K, exact by definition
SCALE_BAR = 300.0  # the fit's own scales, see reference/real_gas.toml
SCALE_K = 288.15
HIGHEST_KPA = 31_100.0  # range of validity of the fit, absolute
COLDEST_C, WARMEST_C = -5.0, 55.0


class GasError(ValueError):
    """A state outside what the law was fitted for."""


@dataclass(frozen=True, slots=True)
class GasLaw:
    """Compressibility fit, molar mass [kg/mol] and density at 15 degC and 1 atm [kg/m3] of one gas."""

    coefficients: tuple[tuple[float, ...], ...]
    molar_mass: float
    reference_density: float


def compressibility(law: GasLaw, absolute_kpa: float, temperature_c: float) -> float:
    """Return Z of a gas.

    Units: ``absolute_kpa`` kPa absolute, ``temperature_c`` degC, result 1.
    Errors: GasError outside 0 to 31 100 kPa absolute or -5 to 55 degC.
    Source: maintenance/reference/real_gas.toml. Valid: |error| at most 0.0006 there.
    """
    if not (isfinite(absolute_kpa) and 0 <= absolute_kpa <= HIGHEST_KPA):
        raise GasError(f"Pressure {absolute_kpa} kPa absolute: the gas law holds from 0 to {HIGHEST_KPA:.0f} kPa.")
    if not COLDEST_C <= temperature_c <= WARMEST_C:
        raise GasError(
            f"Temperature {temperature_c} °C: the gas law holds from {COLDEST_C:.0f} to {WARMEST_C:.0f} °C."
            " Read the temperature of the cylinders again."
        )
    x = absolute_kpa / 100 / SCALE_BAR
    y = SCALE_K / (temperature_c + CELSIUS_ZERO)
    total = 0.0
    for row in reversed(law.coefficients):
        part = 0.0
        for number in reversed(row):
            part = part * y + number
        total = (total + part) * x
    return 1 + total


def content_kg(law: GasLaw, water_litres: float, absolute_kpa: float, temperature_c: float) -> float:
    """Return the mass of gas in a cylinder.

    Units: ``water_litres`` L water capacity, ``absolute_kpa`` kPa absolute, ``temperature_c`` degC, result kg.
    Errors: GasError as compressibility().
    """
    z = compressibility(law, absolute_kpa, temperature_c)
    kelvin = temperature_c + CELSIUS_ZERO
    return absolute_kpa * water_litres * law.molar_mass / (z * GAS_CONSTANT * kelvin)


def ideal_kg(law: GasLaw, water_litres: float, absolute_kpa: float, temperature_c: float) -> float:
    """Return what the ideal law would say, for comparison only. Units as content_kg()."""
    return absolute_kpa * water_litres * law.molar_mass / (GAS_CONSTANT * (temperature_c + CELSIUS_ZERO))


def usable_litres(
    law: GasLaw, water_litres: float, gauge_kpa: float, temperature_c: float, *, minimum_gauge_kpa: float = 0.0
) -> float:
    """Return what may be drawn from a cylinder down to the minimum pressure.

    Units: gauge pressures kPa gauge, result litres at 15 degC and 1 atm.
    Errors: GasError as compressibility(). Never below 0.
    """
    held = content_kg(law, water_litres, gauge_kpa + ATMOSPHERE_KPA, temperature_c)
    left = content_kg(law, water_litres, minimum_gauge_kpa + ATMOSPHERE_KPA, temperature_c)
    return max(0.0, (held - left) / law.reference_density * 1000)
