"""Worksheets: temperature bands, oxygen pressure, carbon dioxide."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from facility.compute.worksheet import Output, Worksheet
from facility.compute.worksheet_inputs import choice, number, optional
from treatments.compute.atmosphere import carbon_dioxide, fahrenheit, partial_pressure, stay
from treatments.reference import figures
from treatments.reference.laws import NAVY, atmosphere, bands, conventions
from treatments.worksheets.common import (
    CHAMBER,
    DEEPEST,
    HANDBOOK,
    RUNS,
    TABLE_INPUTS,
    planned,
    rests_on,
    said,
)

if TYPE_CHECKING:
    from facility.compute.worksheet import Given

DEGREES = ("degF", "degC")
PO2_CONVENTIONS = {conventions()[key].title: conventions()[key] for key in (NAVY, "standard", "msw_atm", "msw_rule")}


def _band(given: Given) -> dict[str, object]:
    run = planned(given)
    typed = given.real("inside")
    inside = typed if given.text("degrees") == DEGREES[0] else fahrenheit(typed)
    found = stay(run.table, run.run_minutes, inside, bands())
    return {
        "inside_f": inside,
        "band": found.band,
        "listed": said(answer=found.listed),
        "within_stay": said(answer=found.within),
        "run_minutes": run.run_minutes,
        "longest_stay": found.longest_min,
    }


def _po2(given: Given) -> dict[str, object]:
    convention = PO2_CONVENTIONS[given.text("convention") or conventions()[NAVY].title]
    fraction = given.real("oxygen") / 100
    found = partial_pressure(fraction, given.real("depth"), convention.depth_per_unit, convention.surface)
    return {"po2": found, "convention": convention.title}


def _co2(given: Given) -> dict[str, object]:
    values = figures("atmosphere")
    limit, mmhg = (float(values[name].number) for name in ("co2.limit", "atmosphere.mmhg"))
    found = carbon_dioxide(given.real("reading"), given.real("depth"), limit, atmosphere().fsw, mmhg)
    return {
        "sev_percent": found.sev_percent,
        "mmhg": found.mmhg,
        "verdict": gettext("within the limit") if found.within else gettext("above the limit"),
        "limit_sev": limit,
        "allowed_reading": found.allowed_reading_percent,
    }


TEMPERATURE_BAND = Worksheet(
    name="temperature_band",
    title=_("Inside temperature against a table"),
    inputs=(
        *TABLE_INPUTS,
        number("inside", "degrees", "86.9", ("-40", "150"), _("temperature inside the chamber")),
        choice("degrees", DEGREES, "degF", _("unit of the temperature")),
    ),
    outputs=(
        Output("inside_f", "degF", _("inside temperature")),
        Output("band", "", _("band; between two bands the hotter one")),
        Output("listed", "", _("whether the table is named for the band")),
        Output("within_stay", "", _("whether the run with its extensions fits the longest stay: a separate answer")),
        Output("run_minutes", "min", _("from leaving the surface")),
        Output("longest_stay", "min", _("of the band; null for none")),
    ),
    source=f"{HANDBOOK}, table 21-4",
    formula=_("the band of the reading names tables and a longest stay; both are answered, neither is a verdict"),
    caution=f"{CHAMBER} {RUNS}",
    compute=_band,
    rests_on=rests_on("atmosphere", "temperature"),
    from_memory=True,
)
PO2 = Worksheet(
    name="po2",
    title=_("Oxygen pressure"),
    inputs=(
        number("oxygen", "%", 100, ("0", "100"), _("oxygen in what is breathed; air 21")),
        number("depth", "fsw or msw", 60, DEEPEST, _("gauge, in the unit of the convention")),
        optional(choice("convention", tuple(PO2_CONVENTIONS), conventions()[NAVY].title, _("depth to pressure"))),
    ),
    outputs=(
        Output("po2", "ata or atm", _("oxygen pressure, absolute, in the unit of the convention")),
        Output("convention", "", _("how depth became pressure; part of the result")),
    ),
    source=f"{HANDBOOK}, working rule",
    formula=_("pO2 = fraction x (surface pressure + depth / depth that adds one unit)"),
    caution=CHAMBER,
    compute=_po2,
    rests_on=rests_on("conventions", NAVY),
)
CO2 = Worksheet(
    name="co2",
    title=_("Carbon dioxide as surface equivalent"),
    inputs=(
        number("reading", "%", "0.60", ("0", "100"), _("by volume, of an analyser at depth pressure")),
        number("depth", "fsw", 60, DEEPEST, _("gauge")),
    ),
    outputs=(
        Output("sev_percent", "% SEV", _("surface equivalent")),
        Output("mmhg", "mmHg", _("partial pressure")),
        Output("verdict", "", _("against the limit")),
        Output("limit_sev", "% SEV", _("limit of the handbook")),
        Output("allowed_reading", "%", _("highest reading within the limit at this depth")),
    ),
    source=f"{HANDBOOK}, p. 22-16",
    formula=_("SEV = reading x (D + 33) / 33; mmHg = SEV / 100 x 760; allowed reading = limit / ata"),
    caution=CHAMBER,
    compute=_co2,
    rests_on=rests_on("atmosphere", "co2", "atmosphere"),
)
