"""Pressure units of a run, each derived from kPa by one convention, so that what goes round comes back.

Depths are gauge; "atm absolute" counts the air above. Decimal in, Decimal out, nothing rounded.
Site records are kept in the units of facility.compute.units; this serves worksheets and imports.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from decimal import Decimal

ABSOLUTE = ("atm absolute", "kPa absolute", "bar absolute")


class PressureError(ValueError):
    """A unit that is not known, or a pressure below a vacuum."""


@dataclass(frozen=True, slots=True)
class Scale:
    """One convention: kPa of a fsw, a msw, a psi and an atmosphere."""

    fsw: Decimal
    msw: Decimal
    psi: Decimal
    atmosphere: Decimal

    def factors(self) -> dict[str, Decimal]:
        """Return kPa of one of each unit."""
        one = self.atmosphere / self.atmosphere
        return {
            "fsw": self.fsw,
            "msw": self.msw,
            "kPa": one,
            "bar": 100 * one,
            "psi": self.psi,
            "atm absolute": self.atmosphere,
            "kPa absolute": one,
            "bar absolute": 100 * one,
        }


def to_kpa_gauge(value: Decimal, unit: str, scale: Scale) -> Decimal:
    """Return a pressure in kPa gauge.

    Errors: PressureError for an unknown unit, or an absolute pressure below 0.
    """
    factor = _factor(unit, scale)
    kpa = value * factor - (scale.atmosphere if unit in ABSOLUTE else 0)
    if kpa < -scale.atmosphere:
        raise PressureError(f"pressure: {value} {unit} is not taken. Allowed: not below a vacuum.")
    return kpa


def from_kpa_gauge(kpa: Decimal, unit: str, scale: Scale) -> Decimal:
    """Return a gauge pressure of ``kpa`` kPa in a unit. Errors: PressureError for an unknown unit."""
    factor = _factor(unit, scale)
    return (kpa + (scale.atmosphere if unit in ABSOLUTE else 0)) / factor


def _factor(unit: str, scale: Scale) -> Decimal:
    factors = scale.factors()
    if unit not in factors:
        raise PressureError(f"unit: {unit!r} is not taken. Allowed: one of {', '.join(factors)}.")
    return factors[unit]
