"""Which gas an analysis speaks of: a label proves nothing."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from decimal import Decimal


class Says(StrEnum):
    """What the oxygen content of a gas says against its label."""

    AGREES = "agrees"
    OTHER_GAS = "other gas"
    NEITHER = "neither"


@dataclass(frozen=True, slots=True)
class Bounds:
    """Oxygen [%]: air from ``air_low`` to ``air_high``, oxygen from ``oxygen_low``."""

    air_low: Decimal
    air_high: Decimal
    oxygen_low: Decimal


def gas_of(oxygen_percent: Decimal, bounds: Bounds) -> str | None:
    """Return "AIR" or "O2" by its oxygen content [%]; None for neither. Source: reference/gas_identity.toml."""
    if bounds.air_low <= oxygen_percent <= bounds.air_high:
        return "AIR"
    return "O2" if oxygen_percent >= bounds.oxygen_low else None


def against_label(label: str, oxygen_percent: Decimal, bounds: Bounds) -> Says:
    """Return whether the analysis agrees with the label "O2" or "AIR", speaks of the other gas, or of neither."""
    found = gas_of(oxygen_percent, bounds)
    if found == label:
        return Says.AGREES
    return Says.NEITHER if found is None else Says.OTHER_GAS
