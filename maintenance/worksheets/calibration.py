"""Worksheet: calibration of a gauge."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from facility.compute.worksheet import InputError, Output, Worksheet
from facility.compute.worksheet_inputs import choice, number, numbers, optional, text
from facility.counted import counted
from maintenance.compute.calibration import CalibrationError, Means, calibrated, points_from, with_head
from maintenance.compute.decisions import Decision, Rule
from maintenance.compute.gauge_limits import Limits, Scale, by_zones, percent_of_span, same_everywhere
from maintenance.worksheets.common import UPKEEP, chosen, values

if TYPE_CHECKING:
    from facility.compute.worksheet import Given
    from maintenance.compute.calibration import CalibrationResult, PointResult

UNIT = "unit"
ANY = ("-1000000", "1000000")
POSITIVE = ("0", "1000000")
UNITS = ("bar", "kPa", "MPa", "psi", "fsw", "msw", "%", "ppm", "degC", "s")
LIMIT_KINDS = ("EN 837-1 class", "ASME B40.100 grade", "own limit")
INPUTS = (
    choice("unit", UNITS, "bar", _("unit of all readings; pressures gauge")),
    number("scale_low", UNIT, 0, ANY, _("lowest value of the scale")),
    number("scale_high", UNIT, 10, ANY, _("highest value of the scale")),
    choice("limit_by", LIMIT_KINDS, LIMIT_KINDS[0], _("what the limit is taken from")),
    optional(text("class_or_grade", "1.6", _("accuracy class or grade, from the dial"))),
    optional(number("own_limit", UNIT, None, (">0", "1000000"), _("the facility's own largest error"))),
    numbers("reference", UNIT, [0, 2, 4, 6, 8, 10], ANY, _("reference values, in order")),
    numbers("up", UNIT, ["0.00", "2.02", "4.05", "6.06", "8.05", "10.04"], ANY, _("indications going up")),
    optional(
        numbers("down", UNIT, ["0.02", "2.08", "4.11", "6.10", "8.07", "10.04"], ANY, _("coming down, same points"))
    ),
    optional(numbers("up_again", UNIT, None, ANY, _("indications of a second run going up"))),
    number("reference_uncertainty", UNIT, "0.010", POSITIVE, _("expanded, from the reference's certificate")),
    number("reference_k", "1", 2, (">0", "10"), _("coverage factor of that certificate")),
    number("resolution", UNIT, "0.02", POSITIVE, _("smallest difference that can be read")),
    number("zero_shift", UNIT, "0.02", POSITIVE, _("size of the difference of zero before and after")),
    optional(number("reference_drift", UNIT, 0, POSITIVE, _("half-width of drift since the certificate"))),
    optional(number("head_correction", UNIT, 0, ANY, _("added to each reference value"))),
    choice("decision_rule", tuple(Rule), "guarded", _("chosen before measuring")),
    optional(number("guard_factor", "1", 1, ("0", "3"), _("guard band as a multiple of U"))),
    optional(number("largest_uncertainty", UNIT, None, (">0", "1000000"), _("for the simple rule: largest U allowed"))),
)
OUTPUTS = (
    Output("verdict", "", _("of all points together")),
    Output("largest_error", UNIT, _("of the worst point: smallest margin to its limit; indication less reference")),
    Output("largest_error_at", UNIT, _("reference value of the worst point")),
    Output("largest_error_percent_of_span", "%", _("the same as part of the span")),
    Output("limit", UNIT, _("at the worst point")),
    Output("guarded_limit", UNIT, _("limit less guard band at the worst point")),
    Output("largest_hysteresis", UNIT, _("down less up, size")),
    Output("hysteresis_within_limit", "", _("whether it is within the tightest limit")),
    Output("repeatability", UNIT, _("largest difference of two runs up, each from its own start")),
    Output("standard_uncertainty", UNIT, _("combined")),
    Output("effective_degrees_of_freedom", "1", _("truncated; none where all components are well known")),
    Output("coverage_factor", "1", _("k for 95.45 %")),
    Output("expanded_uncertainty", UNIT, _("U = k u")),
    Output("conformance_probability", "1", _("of the worst point")),
    Output("test_uncertainty_ratio", "1", _("tightest limit over the reference's expanded uncertainty")),
    Output("points", "", _("each point: errors, hysteresis, limit, verdict")),
    Output("budget", "", _("each component of the uncertainty")),
    Output("remarks", "", _("what a reader should know")),
)


def limits_of(given: Given) -> Limits:
    """Return the limits that the inputs choose. Errors: InputError naming the class, grade or own limit."""
    table = values("gauges.toml")
    kind, word = given.text("limit_by"), given.text("class_or_grade")
    if kind == LIMIT_KINDS[2]:
        own = given.maybe("own_limit")
        if own is None:
            raise InputError("own_limit", None, "a number above 0, since limit_by is own limit")
        return Limits(own=own)
    if kind == LIMIT_KINDS[0]:
        classes = table["en837.classes"].value
        if word not in classes:
            raise InputError("class_or_grade", word or None, "one of " + ", ".join(classes))
        return same_everywhere(Decimal(word))
    grades = [name.removeprefix("b40.") for name in table if name.startswith("b40.")]
    if word not in grades:
        raise InputError("class_or_grade", word or None, "one of " + ", ".join(grades))
    return by_zones([Decimal(figure) for figure in table[f"b40.{word}"].value])


def _compute(given: Given) -> dict[str, object]:
    scale = Scale(given.number("scale_low"), given.number("scale_high"))
    if scale.high <= scale.low:
        raise InputError("scale_high", scale.high, f"more than scale_low, {scale.low}")
    try:
        points = points_from(
            given.numbers("reference"), given.numbers("up"), given.numbers("down"), given.numbers("up_again")
        )
    except CalibrationError as fault:
        name, words = str(fault).split(": ", 1)
        raise InputError(name, words, f"as many as reference, {len(given.numbers('reference'))}") from None
    means = Means(
        given.real("reference_uncertainty"),
        given.real("reference_k"),
        given.real("resolution"),
        given.real("zero_shift"),
        float(given.maybe("reference_drift") or 0),
    )
    largest_u = given.maybe("largest_uncertainty")
    factor = given.maybe("guard_factor")
    decision = Decision(
        Rule(given.text("decision_rule")),
        1.0 if factor is None else float(factor),
        None if largest_u is None else float(largest_u),
    )
    shifted = with_head(points, given.maybe("head_correction") or Decimal(0))
    confidence = float(values("gauges.toml")["confidence"].number)
    result = calibrated(shifted, scale, limits_of(given), means, (decision, confidence))
    return _answers(result, scale, _remarks(given, scale))


def _answers(result: CalibrationResult, scale: Scale, remarks: list[str]) -> dict[str, object]:
    worst = result.worst
    return {
        "verdict": result.verdict,
        "largest_error": worst.point.worst,
        "largest_error_at": worst.point.reference,
        "largest_error_percent_of_span": percent_of_span(worst.point.worst, scale),
        "limit": worst.limit,
        "guarded_limit": result.guarded_limit,
        "largest_hysteresis": result.hysteresis,
        "hysteresis_within_limit": result.hysteresis <= min(one.limit for one in result.points),
        "repeatability": result.repeatability,
        "standard_uncertainty": result.budget.combined,
        "effective_degrees_of_freedom": result.budget.freedom_used,
        "coverage_factor": result.budget.k,
        "expanded_uncertainty": result.budget.expanded,
        "conformance_probability": worst.conformance,
        "test_uncertainty_ratio": result.ratio,
        "points": [_point(one) for one in result.points],
        "budget": [
            {"component": one.name, "value": one.value, "shape": one.shape, "standard_uncertainty": one.standard}
            for one in result.budget.components
        ],
        "remarks": remarks,
    }


def _point(one: PointResult) -> dict[str, object]:
    return {
        "reference": one.point.reference,
        "error_up": one.point.error_up,
        "error_down": one.point.error_down,
        "hysteresis": one.point.hysteresis,
        "limit": one.limit,
        "conformance_probability": one.conformance,
        "verdict": one.verdict,
    }


def _remarks(given: Given, scale: Scale) -> list[str]:
    table = values("gauges.toml")
    remarks = []
    finest = table["points.finest_coarse_class"].number
    if given.text("limit_by") == LIMIT_KINDS[0]:
        name = "points.coarse" if Decimal(given.text("class_or_grade")) >= finest else "points.fine"
        fewest = int(table[name].number)
        if len(given.numbers("reference")) < fewest:
            remarks.append(
                gettext("%(points)s; this class asks for at least %(fewest)s.")
                % {"points": counted(len(given.numbers("reference")), "point", "points"), "fewest": fewest}
            )
    if not given.numbers("down"):
        remarks.append(gettext("No readings coming down: hysteresis is not known."))
    outside = [str(one) for one in given.numbers("reference") if not scale.low <= one <= scale.high]
    if outside:
        remarks.append(gettext("Outside the scale: %(values)s.") % {"values": ", ".join(outside)})
    remarks.append(gettext("As found judges the time past; an adjusted instrument needs a new run, as left."))
    return remarks


GAUGE_CALIBRATION = Worksheet(
    name="gauge_calibration",
    title=_("Calibration of a gauge"),
    inputs=INPUTS,
    outputs=OUTPUTS,
    source="JCGM 100:2008; JCGM 106:2012; ILAC-G8:09/2019; EN 837-1; ASME B40.100 (grades from memory)",
    formula=_(
        "error = indication - reference; u = root of the sum of squares of reference/k and half of resolution,"
        " hysteresis, zero shift and repeatability over root 3; U = k u, k by Student's t; guarded: pass if"
        " |error| <= limit - factor x U; probability by the normal distribution"
    ),
    caution=UPKEEP,
    compute=_compute,
    rests_on=chosen("gauges.toml"),
)
