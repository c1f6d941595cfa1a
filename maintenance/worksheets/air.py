"""Worksheet: analyses of air and oxygen against the limits of several standards."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext_noop as _

from facility.compute.worksheet import InputError, Output, Worksheet
from facility.compute.worksheet_inputs import choice, number, optional
from maintenance.compute.gas_limits import Odour, Point, Sample, SampleVerdict, judge
from maintenance.compute.gas_limits_file import GASES
from maintenance.reference import limit_sets
from maintenance.worksheets.common import GAS

if TYPE_CHECKING:
    from facility.compute.worksheet import Given
    from maintenance.compute.gas_limits import Judged
    from maintenance.compute.gas_limits_file import SourcedSet

PARAMETERS = ("o2", "co", "co2", "oil", "water", "hydrocarbons", "methane", "nitrous_oxide")
PPM = ("0", "1000000")


def _compute(given: Given) -> dict[str, object]:
    measured = {name: value for name in PARAMETERS if (value := given.maybe(name)) is not None}
    if not measured:
        raise InputError("o2", None, "at least one measured parameter")
    sample = Sample(
        measured,
        Odour(given.text("odour")) if given.text("odour") else None,
        Point(given.text("sampling_point")),
        given.number("pressure"),
    )
    judged = [(one, judge(sample, one.limits)) for one in limit_sets() if one.gas == given.text("gas")]
    say = {result.measured for _one, result in judged}
    return {
        "standards": [_row(one, result) for one, result in judged],
        "passed": [result.title for _one, result in judged if result.verdict is SampleVerdict.PASSED],
        "failed": [result.title for _one, result in judged if result.verdict is SampleVerdict.FAILED],
        "incomplete": [result.title for _one, result in judged if result.verdict is SampleVerdict.INCOMPLETE],
        "standards_differ": len(say) > 1,
    }


def _row(one: SourcedSet, result: Judged) -> dict[str, object]:
    return {
        "standard": result.title,
        "verdict": result.verdict,
        "measured": result.measured,
        "exceeded": list(result.exceeded),
        "missing": list(result.missing),
        "not_limited_here": list(result.not_limited_here),
        "unconfirmed": list(one.from_memory),
    }


AIR_LIMITS = Worksheet(
    name="air_limits",
    title=_("Analysis of breathing gas against several standards"),
    inputs=(
        choice("gas", GASES, "AIR", _("air or oxygen")),
        choice("sampling_point", tuple(Point), "compressor outlet", _("where the sample was taken")),
        number("pressure", "bar", 200, ("0", "400"), _("gauge, at the sampling point")),
        optional(number("o2", "%", "20.9", ("0", "100"), _("oxygen"))),
        optional(number("co", "ppm", 8, PPM, _("carbon monoxide"))),
        optional(number("co2", "ppm", 450, PPM, _("carbon dioxide"))),
        optional(number("oil", "mg/m3", "0.3", ("0", "1000"), _("oil mist and vapour"))),
        optional(number("water", "mg/m3", 30, ("0", "100000"), _("water"))),
        optional(number("hydrocarbons", "ppm", 5, PPM, _("all hydrocarbons as methane"))),
        optional(number("methane", "ppm", None, PPM, _("methane"))),
        optional(number("nitrous_oxide", "ppm", None, PPM, _("nitrous oxide"))),
        optional(choice("odour", tuple(Odour), "none", _("what a person smelled"))),
    ),
    outputs=(
        Output("standards", "", _("each standard: whole verdict, verdict on what was measured, exceeded, missing")),
        Output("passed", "", _("standards that everything passes")),
        Output("failed", "", _("standards with a value outside")),
        Output("incomplete", "", _("standards with a parameter not measured: not a pass")),
        Output("standards_differ", "", _("whether they differ on what was measured; both stand")),
    ),
    source="EN 12021:2014; Norway section 5-5; 46 CFR 197.340; 29 CFR 1910.430; CGA 1989; pharmacopoeias (memory)",
    formula=_(
        "each value against the standard's limit for this point and pressure; a value at the limit passes; a missing parameter is not a pass"
    ),
    caution=GAS,
    compute=_compute,
    from_memory=True,
)
