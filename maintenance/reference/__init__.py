"""Reference data of upkeep, read once."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from facility.reference import load
from maintenance.compute.gas import GasLaw

FOLDER = Path(__file__).parent


@lru_cache
def gas_law(gas: str) -> GasLaw:
    """Return the real-gas law of ``gas`` ("O2" or "AIR").

    Errors: KeyError for any other gas.
    """
    table = load(FOLDER / "real_gas.toml")
    rows = table[f"{gas}.compressibility"].value
    return GasLaw(
        coefficients=tuple(tuple(float(number) for number in row) for row in rows),
        molar_mass=float(table[f"{gas}.molar_mass"].number),
        reference_density=float(table[f"{gas}.reference_density"].number),
    )
