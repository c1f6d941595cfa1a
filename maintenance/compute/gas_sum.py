"""The sum behind what may be drawn from cylinders, each figure kept so that it can be worked by hand."""

from __future__ import annotations

from dataclasses import dataclass

from maintenance.compute.gas import ATMOSPHERE_KPA, GasLaw, compressibility, content_kg, ideal_kg


@dataclass(frozen=True, slots=True)
class Held:
    """What cylinders hold at one pressure: kPa absolute, compressibility, kg by the real and by the ideal law."""

    absolute_kpa: float
    z: float
    kilograms: float
    ideal_kilograms: float


@dataclass(frozen=True, slots=True)
class GasSum:
    """What may be drawn from cylinders of one water capacity at one reading.

    Units: L water capacity, degC, kg; litres at 15 degC and 1 atm; ``ideal_more_percent`` above 0 where the ideal law
    promises gas that is not there.
    """

    water_litres: float
    temperature_c: float
    full: Held
    kept_back: Held
    usable_kg: float
    usable_litres: float
    ideal_litres: float
    ideal_more_percent: float


def held(law: GasLaw, water_litres: float, gauge_kpa: float, temperature_c: float) -> Held:
    """Return what cylinders hold. Units: L, kPa gauge, degC. Errors: GasError as compressibility()."""
    absolute = gauge_kpa + ATMOSPHERE_KPA
    return Held(
        absolute,
        compressibility(law, absolute, temperature_c),
        content_kg(law, water_litres, absolute, temperature_c),
        ideal_kg(law, water_litres, absolute, temperature_c),
    )


def gas_sum(
    law: GasLaw, water_litres: float, gauge_kpa: float, temperature_c: float, *, minimum_gauge_kpa: float = 0.0
) -> GasSum:
    """Return what may be drawn down to the minimum, with every figure on the way. Never below 0.

    Units: L water capacity, kPa gauge, degC. Errors: GasError as compressibility().
    Source: maintenance/reference/real_gas.toml.
    """
    full = held(law, water_litres, gauge_kpa, temperature_c)
    kept = held(law, water_litres, minimum_gauge_kpa, temperature_c)
    usable = max(0.0, full.kilograms - kept.kilograms)
    ideal = max(0.0, full.ideal_kilograms - kept.ideal_kilograms)
    return GasSum(
        water_litres=water_litres,
        temperature_c=temperature_c,
        full=full,
        kept_back=kept,
        usable_kg=usable,
        usable_litres=usable / law.reference_density * 1000,
        ideal_litres=ideal / law.reference_density * 1000,
        ideal_more_percent=100 * (ideal / usable - 1) if usable > 0 else 0.0,
    )


def equalised_gauge_kpa(law: GasLaw, parts: list[tuple[float, float, float]], temperature_c: float) -> float:
    """Return the pressure after cylinders were opened to each other: all their gas in all their water capacity.

    ``parts``: water capacity [L], pressure before [kPa gauge], temperature then [degC]. Result kPa gauge.
    Errors: GasError as compressibility(), or ValueError without a part.
    """
    if not parts:
        raise ValueError("No cylinder is given: name at least one with its pressure.")
    water = sum(part[0] for part in parts)
    mass = sum(held(law, *part).kilograms for part in parts)
    low, high = 0.0, max(part[1] for part in parts) * 1.4 + ATMOSPHERE_KPA
    high = min(high, 31_100.0 - ATMOSPHERE_KPA)
    for _ in range(60):
        middle = (low + high) / 2
        if held(law, water, middle, temperature_c).kilograms < mass:
            low = middle
        else:
            high = middle
    return (low + high) / 2
