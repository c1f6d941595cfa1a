"""Worksheets: pressure units, and the handbook's drop test."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from facility.compute.worksheet import InputError, Output, Worksheet
from facility.compute.worksheet_inputs import choice, number, optional
from maintenance.compute.hold_test import Basis, Hold, HoldLimit, HoldVerdict, hold_result
from treatments.compute.pressure import PressureError, from_kpa_gauge, to_kpa_gauge
from treatments.reference import figures
from treatments.reference.laws import scales
from treatments.worksheets.common import CHAMBER, HANDBOOK, rests_on

if TYPE_CHECKING:
    from facility.compute.worksheet import Given
    from maintenance.compute.hold_test import HoldResult

UNITS = ("fsw", "msw", "kPa", "bar", "psi", "atm absolute", "kPa absolute", "bar absolute")
SCALES = tuple(scales())
TEMPERATURES = ("-40", "200")


def _pressure(given: Given) -> dict[str, object]:
    title = given.text("sea_water") or SCALES[0]
    scale = scales()[title]
    value = given.number("value")
    try:
        kpa = to_kpa_gauge(value, given.text("unit"), scale)
    except PressureError:
        raise InputError("value", value, f"not below a vacuum, in {given.text('unit')}") from None
    answers: dict[str, object] = {unit.replace(" ", "_"): from_kpa_gauge(kpa, unit, scale) for unit in UNITS}
    return answers | {"sea_water": title}


def _celsius(given: Given, name: str) -> Decimal | None:
    degrees = given.maybe(name)
    return None if degrees is None else (degrees - 32) * 5 / 9


def _drop(given: Given) -> dict[str, object]:
    values = figures("drop_test")
    start, end = given.number("start_reading"), given.number("end_reading")
    first, last = _celsius(given, "start_temperature"), _celsius(given, "end_temperature")
    if (first is None) != (last is None):
        name = "start_temperature" if first is None else "end_temperature"
        raise InputError(name, None, "both temperatures, or neither")
    zero = Decimal(0)
    hold = Hold(start, end, values["atmosphere"].number, first or zero, last or zero, given.number("minutes"))
    limit = HoldLimit(None, Basis.GAUGE, values["lowest_end"].number, values["hold"].number)
    result = hold_result(hold, limit, values["celsius_zero"].number)
    return {
        "verdict": result.verdict,
        "drop": result.drop,
        "lowest_end": limit.lowest_end,
        "corrected_end": None if first is None else result.corrected_end,
        "remark": _remark(given, result, corrected=first is not None),
    }


def _remark(given: Given, result: HoldResult, *, corrected: bool) -> str:
    said = []
    stated = figures("drop_test")["start"].number
    if given.number("start_reading") != stated:
        words = gettext("The handbook's test starts at %(start)s fsw; for another start its limit is not stated.")
        said.append(words % {"start": stated})
    if result.verdict is HoldVerdict.TOO_SHORT:
        said.append(gettext("The handbook holds for %(hold)s min.") % {"hold": figures("drop_test")["hold"].value})
    if corrected:
        words = gettext(
            "At the starting temperature the end would read %(end).2f fsw. This is a remark: the handbook corrects for"
            " no temperature, and the verdict rests on the readings as taken."
        )
        said.append(words % {"end": result.corrected_end})
    return " ".join(said)


PRESSURE_UNITS = Worksheet(
    name="pressure_units",
    title=_("Pressure in other units"),
    inputs=(
        number("value", "unit", 60, ("-1000", "1000000"), _("gauge, unless the unit says absolute")),
        choice("unit", UNITS, "fsw", _("unit of the value")),
        optional(choice("sea_water", SCALES, SCALES[0], _("how sea water is tied to pressure"))),
    ),
    outputs=(
        *(Output(unit.replace(" ", "_"), unit, _("the same pressure")) for unit in UNITS),
        Output("sea_water", "", _("the pair used; part of the result")),
    ),
    source=f"{HANDBOOK}, working rule; exact pairs from memory; SI",
    formula=_("1 msw = 10 kPa; 1 fsw by the chosen pair; 1 atm = 101.325 kPa; absolute = gauge + 1 atm"),
    caution=CHAMBER,
    compute=_pressure,
    rests_on=rests_on("pressure"),
)
DROP_TEST = Worksheet(
    name="drop_test",
    title=_("Drop test of the handbook"),
    inputs=(
        number("start_reading", "fsw", 165, (">145", "1000"), _("gauge, when the hour began")),
        number("end_reading", "fsw", 143, ("0", "1000"), _("gauge, when it ended")),
        number("minutes", "min", 60, (">0", "10080"), _("how long it was held")),
        optional(number("start_temperature", "degF", 95, TEMPERATURES, _("inside, when the hour began"))),
        optional(number("end_temperature", "degF", 75, TEMPERATURES, _("inside, when it ended"))),
    ),
    outputs=(
        Output("verdict", "", _("by the readings as taken")),
        Output("drop", "fsw", _("as read")),
        Output("lowest_end", "fsw", _("lowest end that passes")),
        Output("corrected_end", "fsw", _("end at the starting temperature, a remark only")),
        Output("remark", "", _("what a reader should know")),
    ),
    source=f"{HANDBOOK}, p. 22-19 (steps from memory); gas law at constant volume for the remark",
    formula=_("passes from 165 fsw if 145 fsw or more are left after 1 h; remark: (end + 33) x T start / T end - 33"),
    caution=CHAMBER,
    compute=_drop,
    rests_on=rests_on("drop_test"),
)
