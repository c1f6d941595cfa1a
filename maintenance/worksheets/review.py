"""Worksheets: drift of an instrument, and proposals for its calibration interval."""

from __future__ import annotations

from decimal import Decimal
from math import isfinite
from typing import TYPE_CHECKING

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from facility.compute.worksheet import InputError, Output, Worksheet
from facility.compute.worksheet_inputs import number, numbers, optional, text, whole
from facility.counted import counted
from maintenance.compute.drift import DriftError, crossing, crossing_with_uncertainty, fit
from maintenance.compute.interval_review import (
    ReviewError,
    classical,
    control_chart,
    decrement,
    simple_response,
    staircase,
)
from maintenance.worksheets.common import UPKEEP, chosen, values

if TYPE_CHECKING:
    from facility.compute.worksheet import Given
    from maintenance.compute.drift import Line
    from maintenance.compute.interval_review import Proposal

MONTHS = numbers("months", "months", [0, 12, 24, 36], ("0", "1200"), _("times of the calibrations, from the first"))
ERRORS = numbers(
    "as_found", "unit", ["0.02", "0.05", "0.07", "0.11"], ("-1000000", "1000000"), _("largest error found at each")
)
LIMIT = number("limit", "unit", "0.16", (">0", "1000000"), _("largest error allowed"))
CONFIDENCE = optional(number("confidence", "1", "0.95", ("0.5", "0.999"), _("of the band; without it 0.95")))
UNIT = optional(text("unit", "bar", _("unit of the errors")))
DEFAULT_CONFIDENCE = 0.95
FARTHEST = 1200.0  # a crossing beyond a hundred years is none


def _line(given: Given) -> Line:
    months, errors = given.numbers("months"), given.numbers("as_found")
    if len(months) != len(errors):
        raise InputError("as_found", counted(len(errors), "value", "values"), f"as many as months, {len(months)}")
    try:
        return fit([float(one) for one in months], [float(one) for one in errors])
    except DriftError:
        raise InputError(
            "months", counted(len(months), "calibration", "calibrations"), "two or more at different times"
        ) from None


def _confidence(given: Given) -> float:
    return float(given.maybe("confidence") or DEFAULT_CONFIDENCE)


def _drift(given: Given) -> dict[str, object]:
    line, last = _line(given), float(max(given.numbers("months")))
    limit, guarded = given.real("limit"), given.maybe("guarded_limit")
    ask = given.maybe("predict_at")
    at = last if ask is None else float(ask)
    return {
        "intercept": line.intercept,
        "slope_per_month": line.slope,
        "u_intercept": _finite(line.u_intercept),
        "u_slope": _finite(line.u_slope),
        "correlation": line.correlation,
        "scatter": line.scatter if line.freedom else None,
        "degrees_of_freedom": line.freedom,
        "predicted_error": line.at(at),
        "u_predicted": _finite(line.u_at(at)),
        "crosses_limit_at": _near(crossing(line, limit, last)),
        "crosses_guarded_limit_at": None if guarded is None else _near(crossing(line, float(guarded), last)),
        "crosses_with_uncertainty_at": _near(crossing_with_uncertainty(line, limit, last, _confidence(given))),
    }


def _near(months: float | None) -> float | None:
    return None if months is None or months > FARTHEST else months


def _finite(value: float) -> float | None:
    return value if isfinite(value) else None


DRIFT = Worksheet(
    name="drift",
    title=_("Drift over the history of an instrument"),
    inputs=(
        UNIT,
        MONTHS,
        ERRORS,
        LIMIT,
        optional(number("guarded_limit", "unit", "0.12", (">0", "1000000"), _("limit less guard band"))),
        optional(number("predict_at", "months", 48, ("0", "1200"), _("time to predict for"))),
        CONFIDENCE,
    ),
    outputs=(
        Output("intercept", "unit", _("error at month 0")),
        Output("slope_per_month", "unit/month", _("drift")),
        Output("u_intercept", "unit", _("standard uncertainty; none with two calibrations")),
        Output("u_slope", "unit/month", _("standard uncertainty; none with two calibrations")),
        Output("correlation", "1", _("of intercept and slope")),
        Output("scatter", "unit", _("standard deviation about the line; none with two calibrations")),
        Output("degrees_of_freedom", "1", _("calibrations less two")),
        Output("predicted_error", "unit", _("at the time asked for, else at the last calibration")),
        Output("u_predicted", "unit", _("standard uncertainty of the line there")),
        Output("crosses_limit_at", "months", _("from month 0; none if never")),
        Output("crosses_guarded_limit_at", "months", _("from month 0; none if never")),
        Output("crosses_with_uncertainty_at", "months", _("line with its uncertainty; none if never or not known")),
    ),
    source="JCGM 100:2008, H.3",
    formula=_(
        "least squares of as-found error against time; uncertainty of the line from that of intercept and slope and their correlation; k by Student's t"
    ),
    caution=UPKEEP,
    compute=_drift,
)


def _review(given: Given) -> dict[str, object]:
    line = _line(given)
    last = float(max(given.numbers("months")))
    error, limit = given.numbers("as_found")[-1], given.number("limit")
    increment, target = given.real("increment"), given.real("target")
    months = given.real("interval_months")
    try:
        proposals = [
            _staircase(given, error, limit),
            simple_response(months, increment, target, in_tolerance=abs(error) <= limit),
            classical(months, given.whole("good"), given.whole("tested"), target),
            control_chart(
                _near(crossing_with_uncertainty(line, float(limit), last, _confidence(given))), last, line.freedom
            ),
        ]
    except ReviewError:
        raise InputError("good", given.number("good"), f"0 to tested, {given.number('tested')}") from None
    return {
        "proposals": [_proposal(one) for one in proposals],
        "a1_decrement": decrement(increment, target),
        "in_tolerance": abs(error) <= limit,
        "remark": gettext("Proposals only. A named person decides, and a code's longest interval is not exceeded."),
    }


def _staircase(given: Given, error: Decimal, limit: Decimal) -> Proposal:
    table = values("interval_review.toml")
    ladder = [Decimal(step) for step in table["staircase.ladder"].value]
    return staircase(given.number("interval_months"), error, limit, ladder, table["staircase.comfortable"].number)


def _proposal(one: Proposal) -> dict[str, object]:
    return {"method": one.method, "months": one.months, "ground": one.ground}


INTERVAL_REVIEW = Worksheet(
    name="interval_review",
    title=_("Proposals for a calibration interval"),
    inputs=(
        UNIT,
        number("interval_months", "months", 12, (">0", "1200"), _("present interval")),
        MONTHS,
        ERRORS,
        LIMIT,
        number("target", "1", "0.90", ("0.5", "0.999"), _("share that should be found in tolerance")),
        number("increment", "1", "0.10", (">0", "1"), _("A1: growth after a calibration in tolerance")),
        whole("good", "1", 18, ("0", "100000"), _("S1: like instruments found in tolerance")),
        whole("tested", "1", 20, ("1", "100000"), _("S1: like instruments calibrated at this interval")),
        CONFIDENCE,
    ),
    outputs=(
        Output("proposals", "", _("each method: months or none, and its ground")),
        Output("a1_decrement", "1", _("b of A1, by which the interval shrinks after a failure")),
        Output("in_tolerance", "", _("the last as-found error")),
        Output("remark", "", _("who decides")),
    ),
    source="ILAC-G24 / OIML D 10 and NCSLI RP-1 (names of the methods; formulas from memory); JCGM 100:2008, H.3",
    formula=_(
        "staircase: a step up within 80 % of the limit, down outside; A1: x (1 + a) or x (1 - b), (1 + a)^R (1 - b)^(1 - R) = 1;"
        " S1: I ln R* / ln R observed; control chart: whole months until drift with uncertainty reaches the limit"
    ),
    caution=UPKEEP,
    compute=_review,
    rests_on=chosen("interval_review.toml"),
    from_memory=True,
)
