"""Worksheets: uncertainty budget, conformance probability, head correction."""

from __future__ import annotations

from math import inf
from typing import TYPE_CHECKING

from django.utils.translation import gettext_noop as _

from facility.compute.worksheet import InputError, Output, Worksheet
from facility.compute.worksheet_inputs import choice, number, optional, rows, text
from maintenance.compute.calibration import head_correction
from maintenance.compute.decisions import conformance
from maintenance.compute.gas import ATMOSPHERE_KPA, HIGHEST_KPA, content_kg
from maintenance.compute.uncertainty import Component, Shape, combine
from maintenance.reference import gas_law
from maintenance.worksheets.common import UPKEEP, chosen, values

if TYPE_CHECKING:
    from facility.compute.worksheet import Given

ANY = ("-1000000000", "1000000000")
POSITIVE = ("0", "1000000000")
COMPONENT = (
    text("name", "comparator, random", _("what it is")),
    number("value", "unit", "3.9", POSITIVE, _("half-width, expanded or standard uncertainty, as the shape says")),
    choice("shape", tuple(Shape), "standard", _("normal: divided by k; rectangular: by root 3; triangular: by root 6")),
    optional(number("k", "1", None, (">0", "10"), _("for normal"))),
    optional(number("sensitivity", "1", None, ANY, _("without it 1"))),
    optional(number("freedom", "1", 5, (">0", "1000000"), _("degrees of freedom; left out: well known"))),
)


def _example(name: str, value: str, freedom: int, *, sensitivity: int | None = None) -> dict[str, object]:
    shape = "standard" if sensitivity is None else "rectangular"
    return {"name": name, "value": value, "shape": shape, "k": None, "sensitivity": sensitivity, "freedom": freedom}


H1 = [
    _example("standard", "25", 18),
    _example("difference, repeated", "5.8", 24),
    _example("comparator, random", "3.9", 5),
    _example("comparator, systematic", "6.7", 8),
    _example("difference of expansion, half-width per K", "0.000001", 50, sensitivity=5_000_000),
    _example("difference of temperature, half-width in K", "0.05", 2, sensitivity=575),
]


def _budget(given: Given) -> dict[str, object]:
    components = tuple(_component(row) for row in given.rows("components"))
    found = combine(components, given.real("confidence"))
    return {
        "combined": found.combined,
        "effective_degrees_of_freedom": found.freedom,
        "degrees_of_freedom_used": found.freedom_used,
        "coverage_factor": found.k,
        "expanded": found.expanded,
        "parts": [{"name": one.name, "standard_uncertainty": one.standard} for one in found.components],
    }


def _component(row: Given) -> Component:
    k, sensitivity, freedom = row.maybe("k"), row.maybe("sensitivity"), row.maybe("freedom")
    return Component(
        row.text("name"),
        row.real("value"),
        Shape(row.text("shape")),
        1.0 if k is None else float(k),
        1.0 if sensitivity is None else float(sensitivity),
        inf if freedom is None else float(freedom),
    )


UNCERTAINTY_BUDGET = Worksheet(
    name="uncertainty_budget",
    title=_("Uncertainty budget"),
    inputs=(
        optional(text("unit", "nm", _("unit of the result"))),
        rows("components", COMPONENT, H1, _("independent contributions; the example is H.1 of the guide")),
        number("confidence", "1", "0.99", ("0.5", "0.9999"), _("to which the uncertainty is expanded")),
    ),
    outputs=(
        Output("combined", "unit", _("combined standard uncertainty")),
        Output("effective_degrees_of_freedom", "1", _("Welch-Satterthwaite; none: well known")),
        Output("degrees_of_freedom_used", "1", _("truncated downwards; none: well known")),
        Output("coverage_factor", "1", _("k by Student's t")),
        Output("expanded", "unit", _("U = k u")),
        Output("parts", "", _("each contribution to the result")),
    ),
    source="JCGM 100:2008, 5.1.2, G.4.1, G.6.4",
    formula=_(
        "u = root of the sum of (c u)^2; freedom = u^4 / sum of (c u)^4 / freedom, truncated; k = Student's t; U = k u"
    ),
    caution=UPKEEP,
    compute=_budget,
)


def _conformance(given: Given) -> dict[str, object]:
    low, high = given.maybe("low"), given.maybe("high")
    if low is None and high is None:
        raise InputError("low", None, "a low or a high limit, or both")
    if low is not None and high is not None and low > high:
        raise InputError("high", high, f"at least low, {low}")
    chance = conformance(
        given.real("measured"),
        given.real("standard_uncertainty"),
        None if low is None else float(low),
        None if high is None else float(high),
    )
    return {"probability": chance, "risk": 1 - chance}


CONFORMANCE = Worksheet(
    name="conformance",
    title=_("Probability of lying within limits"),
    inputs=(
        number("measured", "unit", "13.6", ANY, _("measured value")),
        number("standard_uncertainty", "unit", "1.8", POSITIVE, _("not expanded")),
        optional(number("low", "unit", "12.5", ANY, _("lower limit"))),
        optional(number("high", "unit", "16.3", ANY, _("upper limit"))),
    ),
    outputs=(
        Output("probability", "1", _("that the true value lies within")),
        Output("risk", "1", _("that it does not")),
    ),
    source="JCGM 106:2012, 7.2 and 7.3",
    formula=_("p = F((high - y) / u) - F((low - y) / u), F the normal distribution"),
    caution=UPKEEP,
    compute=_conformance,
)


def _head(given: Given) -> dict[str, object]:
    table = values("gauges.toml")
    density = _density(given)
    head = head_correction(
        density,
        float(table["head.air_density"].number),
        float(table["head.gravity"].number),
        given.real("height"),
    )
    return {"density": density, "correction_kpa": head, "correction_bar": head / 100}


def _density(given: Given) -> float:
    """Return the density in the line, kg/m3: water, typed, or a gas at its pressure."""
    fluid, typed = given.text("fluid"), given.maybe("density")
    if fluid == "water":
        return float(values("gauges.toml")["head.water_density"].number)
    if fluid == "other":
        if typed is None:
            raise InputError("density", None, "a number in kg/m3, since fluid is other")
        return float(typed)
    kpa = given.real("pressure_bar") * 100 + ATMOSPHERE_KPA
    if kpa > HIGHEST_KPA:
        raise InputError("pressure_bar", given.number("pressure_bar"), "up to 309 bar gauge, where the gas law holds")
    return 1000 * content_kg(gas_law(fluid), 1.0, kpa, given.real("temperature"))


HEAD_CORRECTION = Worksheet(
    name="head_correction",
    title=_("Head correction between reference and gauge"),
    inputs=(
        choice("fluid", ("O2", "AIR", "water", "other"), "water", _("what stands in the line")),
        number("height", "m", "1.5", ("-100", "100"), _("that the reference is above the gauge")),
        number("pressure_bar", "bar", 200, ("0", "400"), _("gauge; for gas")),
        number("temperature", "degC", 20, ("-5", "55"), _("for gas")),
        optional(number("density", "kg/m3", None, (">0", "20000"), _("for another fluid"))),
    ),
    outputs=(
        Output("density", "kg/m3", _("in the line")),
        Output("correction_kpa", "kPa", _("added to the reference to have the pressure at the gauge")),
        Output("correction_bar", "bar", _("the same")),
    ),
    source="hydrostatics; EURAMET cg-17 asks for the level difference; CoolProp 8.0.0 for gas",
    formula=_("(density in the line - density of air) x gravity x height"),
    caution=UPKEEP,
    compute=_head,
    rests_on=chosen("gauges.toml", "head.gravity", "head.air_density", "head.water_density"),
)
