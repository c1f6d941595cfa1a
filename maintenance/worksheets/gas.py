"""Worksheet: what cylinders hold."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from django.utils.translation import gettext_noop as _

from facility.compute.units import kpa_from
from facility.compute.worksheet import InputError, Output, Worksheet
from facility.compute.worksheet_inputs import choice, number, optional, whole
from facility.reference import units
from maintenance.compute.gas import (
    ATMOSPHERE_KPA,
    HIGHEST_KPA,
    compressibility,
    content_kg,
    ideal_kg,
    usable_litres,
)
from maintenance.reference import gas_law
from maintenance.worksheets.common import GAS, PRESSURE_UNITS, chosen, values

if TYPE_CHECKING:
    from facility.compute.worksheet import Given

INPUTS = (
    choice("gas", ("O2", "AIR"), "O2", _("oxygen or air")),
    number("water_capacity", "L", 50, (">0", "10000"), _("water capacity of one cylinder, from its shoulder")),
    whole("cylinders", "1", 1, ("1", "1000"), _("number of cylinders at this pressure")),
    number("pressure", "pressure_unit", 200, ("0", "35000"), _("gauge or absolute, as chosen below")),
    choice("pressure_unit", PRESSURE_UNITS, "bar", _("unit of both pressures")),
    choice("pressure_kind", ("gauge", "absolute"), "gauge", _("what both pressures are")),
    number("temperature", "degC", 20, ("-5", "55"), _("of the cylinders, not of the room")),
    optional(number("minimum_pressure", "pressure_unit", 20, ("0", "35000"), _("kept back; without it 0 gauge"))),
)
OUTPUTS = (
    Output("compressibility", "1", _("Z at this state")),
    Output("mass", "kg", _("all gas in the cylinders")),
    Output("litres_at_0", "L", _("the same gas at 0 °C and 1 atm")),
    Output("litres_at_15", "L", _("the same gas at 15 °C and 1 atm")),
    Output("litres_at_20", "L", _("the same gas at 20 °C and 1 atm")),
    Output("usable_mass", "kg", _("down to the pressure kept back")),
    Output("usable_litres_at_15", "L", _("down to the pressure kept back, at 15 °C and 1 atm")),
    Output("ideal_mass", "kg", _("what the ideal law would say")),
    Output("ideal_error_percent", "%", _("ideal less real; above 0 the ideal law promises gas that is not there")),
    Output("accuracy_of_z", "1", _("largest error of the compressibility")),
)


def _compute(given: Given) -> dict[str, object]:
    gas = given.text("gas")
    law = gas_law(gas)
    absolute = _absolute_kpa(given, "pressure")
    litres = given.real("water_capacity") * given.whole("cylinders")
    celsius = given.real("temperature")
    low = ATMOSPHERE_KPA if given.maybe("minimum_pressure") is None else _absolute_kpa(given, "minimum_pressure")
    mass = content_kg(law, litres, absolute, celsius)
    usable = usable_litres(law, litres, absolute - ATMOSPHERE_KPA, celsius, minimum_gauge_kpa=low - ATMOSPHERE_KPA)
    ideal = ideal_kg(law, litres, absolute, celsius)
    table = values("real_gas.toml")
    return {
        "compressibility": compressibility(law, absolute, celsius),
        "mass": mass,
        "litres_at_0": 1000 * mass / float(table[f"{gas}.density_at_0"].number),
        "litres_at_15": 1000 * mass / law.reference_density,
        "litres_at_20": 1000 * mass / float(table[f"{gas}.density_at_20"].number),
        "usable_mass": usable * law.reference_density / 1000,
        "usable_litres_at_15": usable,
        "ideal_mass": ideal,
        "ideal_error_percent": 100 * (ideal / mass - 1) if mass > 0 else 0.0,
        "accuracy_of_z": table["accuracy"].number,
    }


def _absolute_kpa(given: Given, name: str) -> float:
    """Return a pressure in kPa absolute. Errors: InputError above the range of the gas law."""
    unit = given.text("pressure_unit")
    kpa = kpa_from(given.number(name), unit, units())
    absolute = float(kpa) + (ATMOSPHERE_KPA if given.text("pressure_kind") == "gauge" else 0.0)
    if absolute > HIGHEST_KPA:
        highest = Decimal(str(HIGHEST_KPA)) / 100
        raise InputError(
            name, f"{given.number(name)} {unit}", f"at most {highest:.0f} bar absolute, where the law holds"
        )
    return absolute


GAS_CONTENT = Worksheet(
    name="gas_content",
    title=_("Gas content of cylinders"),
    inputs=INPUTS,
    outputs=OUTPUTS,
    source="CoolProp 8.0.0 for compressibility and densities; SI for the gas constant",
    formula=_(
        "mass = p V M / (Z R T), p absolute; Z from a fit in p and T; litres = mass / density at the named state"
    ),
    caution=GAS,
    compute=_compute,
    rests_on=chosen("real_gas.toml"),
)
