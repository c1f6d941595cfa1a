"""Conversions of pressure, depth and volume. Decimal in, Decimal out; nothing is rounded here.

A depth in fsw or msw is a gauge pressure. What was typed is stored with its unit; these
functions serve computation and display only, and a result is never converted back.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping
    from decimal import Decimal

    from facility.compute.reference import Sourced


class UnitError(ValueError):
    """A unit that is not known for this quantity."""


def kpa_from(value: Decimal, unit: str, table: Mapping[str, Sourced]) -> Decimal:
    """Return a gauge pressure in kPa gauge.

    Units: ``value`` in ``unit`` (fsw, msw, bar, kPa, MPa, psi), all gauge.
    Errors: UnitError naming the unit and what is allowed.
    Source: facility/reference/units.toml [pressure].
    """
    return value * _factor(unit, "pressure", table)


def pressure_to(kpa: Decimal, unit: str, table: Mapping[str, Sourced]) -> Decimal:
    """Return a gauge pressure of ``kpa`` kPa gauge in ``unit``, for display.

    Errors: UnitError as kpa_from().
    """
    return kpa / _factor(unit, "pressure", table)


def cubic_metres(value: Decimal, unit: str, table: Mapping[str, Sourced]) -> Decimal:
    """Return a volume in m3.

    Units: ``value`` in ``unit`` (m3, L, ft3). Errors: UnitError.
    """
    return value * _factor(unit, "volume", table)


def _factor(unit: str, quantity: str, table: Mapping[str, Sourced]) -> Decimal:
    entry = table.get(f"{quantity}.{unit}")
    if entry is None:
        known = ", ".join(name.split(".")[1] for name in table if name.startswith(f"{quantity}."))
        raise UnitError(f"{unit!r} is not a unit of {quantity}. Use one of: {known}.")
    return entry.number
