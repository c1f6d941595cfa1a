"""Worksheets: oxygen of a table, gas at a mean depth with its cylinders, air supply of the locks."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from facility.compute.worksheet import InputError, Output, Worksheet
from facility.compute.worksheet_inputs import number, optional, whole, yes_no
from treatments.compute.demand import (
    Flask,
    air_supply,
    consumption,
    flasks_needed,
    held,
    oxygen_ata_minutes,
    pressure_needed,
)
from treatments.compute.tender import breathed, owed, rule_for
from treatments.reference import figures, table
from treatments.reference.laws import air_rule, atmosphere, tender_rules
from treatments.worksheets.common import HANDBOOK, RUNS, SUPPLY, TABLE_INPUTS, not_stated, planned, rests_on

if TYPE_CHECKING:
    from facility.compute.worksheet import Given

MASK = str(figures("supply")["mask_demand"].value)
FLASK_INPUTS = (
    number("flask_volume", "ft3", "8.0", (">0", "10000"), _("floodable volume of one flask or cylinder")),
    number("flask_pressure", "psig", 3000, (">0", "10000"), _("when full")),
    number("lowest_pressure", "psig", 220, ("0", "10000"), _("left in it")),
)


def _litres(scf: float) -> float:
    return scf * float(figures("supply")["litres_per_cubic_foot"].number)


def _flask(given: Given) -> Flask:
    pressure, lowest = given.number("flask_pressure"), given.number("lowest_pressure")
    if pressure <= lowest:
        raise InputError("flask_pressure", pressure, f"more than lowest_pressure, {lowest} psig")
    return Flask(given.real("flask_volume"), float(pressure), float(lowest))


def _oxygen(given: Given) -> dict[str, object]:
    run = planned(given)
    volume = given.real("minute_volume")
    patient = volume * oxygen_ata_minutes(run.segments, atmosphere())
    tender = _tender(given, run.table)
    tenders = given.whole("tenders")
    known = tender is not None or tenders == 0
    total = given.whole("patients") * patient + tenders * (tender or 0) if known else None
    remarks = []
    if patient == 0:
        remarks.append(gettext("The table lists air only; oxygen breathed on it is not stated."))
    if not known:
        remarks.append(gettext("Oxygen of a tender on this table: %(said)s.") % {"said": not_stated()})
    return {
        "patient_ata_minutes": oxygen_ata_minutes(run.segments, atmosphere()),
        "patient_scf": patient,
        "tender_scf": tender,
        "total_scf": total,
        "total_litres": None if total is None else _litres(total),
        "remarks": remarks,
    }


def _tender(given: Given, key: str) -> float | None:
    rule = rule_for(key, tender_rules())
    taken = given.whole("extensions_at_60") + given.whole("extensions_at_30")
    most = sum(one.allowed for one in table(key).extensions)
    oxygen = owed(rule, taken, most_extensions=most, previous=given.yes("tender_previous_exposure"))
    if rule is None or oxygen.total_min is None:
        return None
    return given.real("minute_volume") * oxygen_ata_minutes(breathed(oxygen, rule), atmosphere())


def _gas(given: Given) -> dict[str, object]:
    volume = given.maybe("volume")
    scf = _at_depth(given) if volume is None else float(volume)
    flask = _flask(given)
    return {
        "volume_scf": scf,
        "volume_litres": _litres(scf),
        "flask_holds_scf": held(flask, atmosphere()),
        "flasks_needed": flasks_needed(scf, flask, atmosphere()),
        "pressure_in_one": pressure_needed(scf, flask.cubic_feet, flask.lowest_psig, atmosphere()),
    }


def _at_depth(given: Given) -> float:
    for name in ("mean_depth", "minute_volume", "minutes", "people"):
        if given.maybe(name) is None:
            raise InputError(name, None, "a number, or give volume instead")
    one = consumption(given.real("mean_depth"), given.real("minute_volume"), given.real("minutes"), atmosphere())
    return given.whole("people") * one


def _supply(given: Given) -> dict[str, object]:
    inner, outer = given.real("inner_lock"), given.real("outer_lock")
    flask = _flask(given)
    primary = air_supply(inner, outer, air_rule("primary"), atmosphere())
    secondary = air_supply(inner, outer, air_rule("secondary"), atmosphere())
    return {
        "primary_scf": primary,
        "secondary_scf": secondary,
        "flask_holds_scf": held(flask, atmosphere()),
        "primary_flasks": flasks_needed(primary, flask, atmosphere()),
        "secondary_flasks": flasks_needed(secondary, flask, atmosphere()),
    }


OXYGEN_DEMAND = Worksheet(
    name="oxygen_demand",
    title=_("Oxygen that a treatment table needs"),
    inputs=(
        *TABLE_INPUTS,
        whole("patients", "1", 1, ("0", "50"), _("people who breathe the oxygen of the table")),
        whole("tenders", "1", 1, ("0", "50"), _("tenders who breathe oxygen at the end")),
        yes_no("tender_previous_exposure", False, _("a previous exposure counts for the tender")),
        number("minute_volume", "acfm", MASK, (">0", "5"), _("of one person; a planning figure, keep your own")),
    ),
    outputs=(
        Output("patient_ata_minutes", "ata min", _("integral of absolute pressure over the minutes on oxygen")),
        Output("patient_scf", "scf", _("one patient")),
        Output("tender_scf", "scf", _("one tender; null where not stated")),
        Output("total_scf", "scf", _("all; null where not stated")),
        Output("total_litres", "L", _("the same at 1 atm")),
        Output("remarks", "", _("what a reader should know")),
    ),
    source=f"{HANDBOOK}, tables (from memory), p. 7-14 and p. 21-26; planning figure of a mask: common practice, no source",
    formula=_("minute volume x integral of (D + 33) / 33 over the minutes on oxygen; no leakage, no reserve"),
    caution=f"{RUNS} {SUPPLY}",
    compute=_oxygen,
    rests_on=rests_on("supply", "atmosphere", "mask_demand", "litres"),
    from_memory=True,
)
GAS_DEMAND = Worksheet(
    name="gas_demand",
    title=_("Gas needed and the cylinders that hold it"),
    inputs=(
        optional(number("volume", "scf", None, ("0", "10000000"), _("if known; else the four inputs below"))),
        optional(number("mean_depth", "fsw", 95, ("0", "400"), _("gauge"))),
        optional(number("minute_volume", "acfm", "1.4", (">0", "1000"), _("of one person"))),
        optional(number("minutes", "min", 7, ("0", "20160"), _("duration"))),
        optional(whole("people", "1", 1, ("1", "50"), _("who breathe it"))),
        *FLASK_INPUTS,
    ),
    outputs=(
        Output("volume_scf", "scf", _("needed")),
        Output("volume_litres", "L", _("the same at 1 atm")),
        Output("flask_holds_scf", "scf", _("one flask, down to the lowest pressure")),
        Output("flasks_needed", "1", _("whole flasks")),
        Output("pressure_in_one", "psig", _("pressure at which one flask would hold it")),
    ),
    source=f"{HANDBOOK}, p. 7-14 and p. 8-3",
    formula=_(
        "volume = (D + 33) / 33 x minute volume x minutes x people; flask = (full - lowest) / 14.7 x floodable volume;"
        " flasks = volume / flask, rounded up; pressure = volume / floodable volume x 14.7 + lowest"
    ),
    caution=SUPPLY,
    compute=_gas,
    rests_on=rests_on("supply", "atmosphere", "litres"),
)
AIR_SUPPLY = Worksheet(
    name="air_supply",
    title=_("Primary and secondary air supply"),
    inputs=(
        number("inner_lock", "ft3", 300, (">0", "100000"), _("floodable volume")),
        number("outer_lock", "ft3", 125, ("0", "100000"), _("floodable volume; 0 without one")),
        *FLASK_INPUTS,
    ),
    outputs=(
        Output("primary_scf", "scf", _("inner lock once, outer lock twice to 165 fsw, ventilation of a table 4")),
        Output("secondary_scf", "scf", _("both locks once to 165 fsw, one hour at 70.4 scfm")),
        Output("flask_holds_scf", "scf", _("one flask, down to the lowest pressure")),
        Output("primary_flasks", "1", _("whole flasks")),
        Output("secondary_flasks", "1", _("whole flasks")),
    ),
    source=f"{HANDBOOK}, 22-4; later revisions choose the ventilation by how the chamber is fitted",
    formula=_("primary = 5 x inner + 10 x outer + 45 390; secondary = 5 x inner + 5 x outer + 4 224"),
    caution=SUPPLY,
    compute=_supply,
    rests_on=rests_on("supply", "atmosphere", "air"),
)
