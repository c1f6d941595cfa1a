"""Pressures that no gauge of a facility shows: a slip of the unit or of a digit, not a reading."""

from __future__ import annotations

from decimal import Decimal

from django.utils.translation import gettext as _

from facility import reference
from facility.compute.units import kpa_from, pressure_to
from facility.imports.cells import CellError
from maintenance.compute.gas import COLDEST_C, HIGHEST_KPA, WARMEST_C


def refuse_improbable(value: Decimal, unit: str, column: str) -> None:
    """Refuse a gauge pressure above what the gas law covers.

    Errors: CellError naming the highest value in the same unit. Source: maintenance.compute.gas.HIGHEST_KPA.
    """
    table = reference.units()
    highest = Decimal(int(HIGHEST_KPA)) - Decimal("101.325")
    if kpa_from(value, unit, table) <= highest:
        return
    most = int(pressure_to(highest, unit, table))
    raise CellError(
        _("is more than can be reckoned with, in %(unit)s") % {"unit": unit}, _("at most %(most)s %(unit)s") % {
            "most": most, "unit": unit,
        }, _("Look at the gauge again: is it this number, and is it this unit?"), column,
    )  # fmt: skip


def refuse_temperature(value: Decimal, column: str) -> None:
    """Refuse a gas temperature outside what the gas law covers. Errors: CellError."""
    if not Decimal(COLDEST_C) <= value <= Decimal(WARMEST_C):
        raise CellError(
            _("cannot be reckoned with, in °C"), f"{COLDEST_C:.0f} to {WARMEST_C:.0f} °C",
            _("Read the temperature of the cylinders again."), column,
        )  # fmt: skip
