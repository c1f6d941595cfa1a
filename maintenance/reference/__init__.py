"""Reference data of upkeep, read once."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from facility.reference import load, sources
from maintenance.compute.gas import GasLaw
from maintenance.compute.gas_limits_file import parse_limit_sets
from maintenance.compute.requirements import parse_requirements

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sized

    from maintenance.compute.gas_limits_file import SourcedSet
    from maintenance.compute.requirements import Requirement

FOLDER = Path(__file__).parent
REQUIREMENTS = "requirements.toml"
GAS_LIMITS = "gas_limits.toml"
DOCUMENTS: dict[str, Callable[[str, Mapping[str, object]], Sized]] = {
    REQUIREMENTS: parse_requirements,
    GAS_LIMITS: parse_limit_sets,
}


@lru_cache
def requirements() -> tuple[Requirement, ...]:
    """Return what codes ask for, rule by rule; offered to sites, adopted by people."""
    return parse_requirements((FOLDER / REQUIREMENTS).read_text(encoding="utf-8"), sources())


@lru_cache
def limit_sets() -> tuple[SourcedSet, ...]:
    """Return the limit sets of breathing gases."""
    return parse_limit_sets((FOLDER / GAS_LIMITS).read_text(encoding="utf-8"), sources())


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
