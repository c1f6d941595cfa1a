"""Worksheet: hold (drop) test."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from facility.compute.units import pressure_to
from facility.compute.worksheet import InputError, Output, Worksheet
from facility.compute.worksheet_inputs import choice, number, optional
from facility.reference import units
from maintenance.compute.hold_test import Basis, Hold, HoldLimit, hold_result
from maintenance.worksheets.common import PRESSURE_UNITS, UPKEEP, chosen, values

if TYPE_CHECKING:
    from decimal import Decimal

    from facility.compute.worksheet import Given
    from maintenance.compute.hold_test import HoldResult

UNIT = "unit"
INPUTS = (
    choice("unit", PRESSURE_UNITS, "bar", _("unit of all pressures")),
    number("start_pressure", UNIT, 10, ("", "100000"), _("gauge, when the hold began")),
    number("end_pressure", UNIT, "9.1", ("", "100000"), _("gauge, when it ended")),
    number("start_temperature", "degC", 25, ("-40", "90"), _("of the gas inside, when the hold began")),
    number("end_temperature", "degC", 22, ("-40", "90"), _("of the gas inside, when it ended")),
    number("minutes", "min", 15, (">0", "10080"), _("how long it was held")),
    choice("percent_of", tuple(Basis), "gauge", _("which starting pressure the percentage is of; there is no default")),
    optional(number("limit_percent", "%", 10, ("0", "100"), _("largest drop that passes"))),
    optional(number("lowest_end_pressure", UNIT, None, ("", "100000"), _("gauge; lowest end that passes"))),
    optional(number("required_minutes", "min", 15, ("0", "10080"), _("time the test has to be held"))),
    optional(number("atmospheric_pressure", UNIT, None, (">0", "1000"), _("by barometer; without it 1 atm"))),
)
OUTPUTS = (
    Output("drop", UNIT, _("as read")),
    Output("drop_percent", "%", _("of the chosen starting pressure")),
    Output("allowed_drop", UNIT, _("largest drop that passes")),
    Output("verdict", "", _("by the readings as taken")),
    Output("corrected_end_pressure", UNIT, _("gauge, at the starting temperature")),
    Output("corrected_drop", UNIT, _("what is left when the temperature is taken out")),
    Output("corrected_drop_percent", "%", _("of the chosen starting pressure")),
    Output("percent_of", "", _("gauge or absolute")),
    Output("remark", "", _("what the temperature did")),
)


def _compute(given: Given) -> dict[str, object]:
    table = values("hold_test.toml")
    if given.maybe("limit_percent") is None and given.maybe("lowest_end_pressure") is None:
        raise InputError("limit_percent", None, "0 to 100 %, or a lowest_end_pressure instead")
    hold = Hold(
        given.number("start_pressure"),
        given.number("end_pressure"),
        _atmosphere(given),
        given.number("start_temperature"),
        given.number("end_temperature"),
        given.number("minutes"),
    )
    if hold.start + hold.atmosphere <= 0 or (given.text("percent_of") == Basis.GAUGE and hold.start <= 0):
        raise InputError("start_pressure", hold.start, "more than 0, of the kind that the percentage is of")
    asked = given.maybe("required_minutes")
    limit = HoldLimit(
        given.maybe("limit_percent"),
        Basis(given.text("percent_of")),
        given.maybe("lowest_end_pressure"),
        table["rule_of_thumb.minutes"].number if asked is None else asked,
    )
    result = hold_result(hold, limit, table["celsius_zero"].number)
    return _answers(result, given, asked_minutes=limit.minutes)


def _answers(result: HoldResult, given: Given, *, asked_minutes: Decimal) -> dict[str, object]:
    return {
        "drop": result.drop,
        "drop_percent": result.drop_percent,
        "allowed_drop": result.allowed_drop,
        "verdict": result.verdict,
        "corrected_end_pressure": result.corrected_end,
        "corrected_drop": result.corrected_drop,
        "corrected_drop_percent": result.corrected_percent,
        "percent_of": given.text("percent_of"),
        "remark": _remark(result, given, asked_minutes),
    }


def _remark(result: HoldResult, given: Given, asked_minutes: Decimal) -> str:
    unit = given.text("unit")
    text = gettext(
        "The pressure fell by %(drop)s %(unit)s as read; at the starting temperature it would have fallen by"
        " %(corrected)s %(unit)s. The verdict rests on the readings as taken."
    ) % {"drop": f"{result.drop:f}", "corrected": f"{result.corrected_drop:.3f}", "unit": unit}
    if given.number("minutes") < asked_minutes:
        text += " " + gettext("Held %(held)s min of %(asked)s min.") % {
            "held": given.number("minutes"),
            "asked": asked_minutes,
        }
    return text


def _atmosphere(given: Given) -> Decimal:
    """Return the barometer's reading, else the standard atmosphere, in the unit of the readings."""
    read = given.maybe("atmospheric_pressure")
    standard = values("hold_test.toml")["atmosphere"].number
    return pressure_to(standard, given.text("unit"), units()) if read is None else read


HOLD_TEST = Worksheet(
    name="hold_test",
    title=_("Hold (drop) test"),
    inputs=INPUTS,
    outputs=OUTPUTS,
    source="UFC 3-430-07 for the rule of thumb of 10 % in 15 min; gas law at constant volume for the correction",
    formula=_(
        "drop = start - end; corrected end = (end + atmosphere) x (start temperature / end temperature, in kelvin)"
        " - atmosphere; percentage of the gauge or absolute start, as chosen"
    ),
    caution=UPKEEP,
    compute=_compute,
    rests_on=chosen("hold_test.toml"),
)
