"""Worksheet: what a run of a table would demand, for locks and a party of one's own."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from facility.compute.worksheet import InputError, Output, Worksheet
from facility.compute.worksheet_inputs import number, optional, whole, yes_no
from treatments.compute.plan_asking import Asking, Locks, PlanDemandError, Rules
from treatments.compute.plan_demand import litres, plan_demand
from treatments.compute.profile import ProfileError
from treatments.compute.tender import rule_for
from treatments.reference import figures, table
from treatments.reference.laws import atmosphere, rates, tender_rules
from treatments.worksheets.common import EXTENSIONS, HANDBOOK, NAMES, RUNS, SUPPLY, TABLE, not_stated, rests_on

if TYPE_CHECKING:
    from facility.compute.worksheet import Given
    from treatments.compute.plan_demand import PlanDemand

MOST_PEOPLE = ("0", "50")
FILLS = ("0", "200")
INPUTS_OF = NAMES | {
    "chamber": "inner_lock", "outer_fills": "outer_lock_fills", "medical_fills": "medical_lock_fills",
    "tender_minutes": "tender_oxygen", "emergency_volume": "emergency_minute_volume", "reserve_percent": "reserve",
}  # fmt: skip


def _suggested(name: str) -> str:
    return str(figures("plans")[name].value)


def _asking(given: Given) -> Asking:
    minutes = given.maybe("tender_oxygen")
    return Asking(
        patients=given.whole("patients"),
        tenders=given.whole("tenders"),
        extensions={60.0: given.whole("extensions_at_60"), 30.0: given.whole("extensions_at_30")},
        previous=given.yes("tender_previous_exposure"),
        dump=given.yes("overboard_dump"),
        outer_fills=given.whole("outer_lock_fills"),
        medical_fills=given.whole("medical_lock_fills"),
        minute_volume=given.real("minute_volume"),
        tender_minutes=None if minutes is None else float(minutes),
        emergency_minutes=given.real("emergency_minutes"),
        emergency_volume=given.real("emergency_minute_volume"),
        reserve_percent=given.real("reserve"),
    )


def _demand(given: Given) -> PlanDemand:
    key = given.text("table")
    locks = Locks(*(given.real(f"{name}_lock") for name in ("inner", "outer", "medical")))
    rules = Rules(rates(), atmosphere(), rule_for(key, tender_rules()))
    try:
        return plan_demand(table(key), locks, _asking(given), rules)
    except PlanDemandError as fault:
        raise InputError(INPUTS_OF.get(fault.name, fault.name), fault.value, fault.allowed) from None
    except ProfileError as fault:
        raise InputError(INPUTS_OF.get(fault.what, fault.what), fault.value, fault.allowed) from None


def _litres(scf: float | None) -> int | None:
    return None if scf is None else litres(scf, float(figures("supply")["litres_per_cubic_foot"].number))


def _compute(given: Given) -> dict[str, object]:
    found = _demand(given)
    oxygen, air = found.oxygen, found.air
    remarks = []
    if oxygen.total_scf is None:
        remarks.append(gettext("Oxygen of a tender on this table: %(said)s.") % {"said": not_stated()})
    if not given.yes("overboard_dump") and air.ventilation_scf > air.masked_scf:
        remarks.append(
            gettext("Counting only the people on oxygen asks for less than the air rates would: the larger is taken.")
        )
    return {
        "table_minutes": found.table_min,
        "longest_run": found.run_min,
        "patient_scf": oxygen.patient_scf,
        "tender_minutes": oxygen.tender_min,
        "tender_scf": oxygen.tender_scf,
        "oxygen_litres": _litres(oxygen.total_scf),
        "oxygen_reserve_litres": _litres(found.oxygen_reserve_scf),
        "filling_scf": air.filling_scf,
        "ventilation_scf": air.ventilation_scf,
        "masked_scf": air.masked_scf,
        "air_rates_scf": air.air_rates_scf,
        "emergency_scf": air.emergency_scf,
        "air_litres": _litres(air.demand_scf),
        "air_reserve_litres": _litres(found.air_reserve_scf),
        "remarks": remarks,
    }


PLAN_DEMAND = Worksheet(
    name="plan_demand",
    title=_("What a run of a table would demand"),
    inputs=(
        TABLE,
        *EXTENSIONS,
        whole("patients", "1", 1, MOST_PEOPLE, _("who breathe by the table, at rest")),
        whole("tenders", "1", 1, MOST_PEOPLE, _("inside, at work on air and at rest on oxygen")),
        yes_no("tender_previous_exposure", False, _("a previous exposure counts for the tender")),
        yes_no("overboard_dump", False, _("exhaled oxygen goes overboard: the air rates hold for everyone")),
        number("inner_lock", "ft3", 300, (">0", "100000"), _("floodable volume, filled once")),
        number("outer_lock", "ft3", 125, ("0", "100000"), _("floodable volume; 0 without one")),
        number("medical_lock", "ft3", 2, ("0", "10000"), _("floodable volume; 0 without one")),
        whole("outer_lock_fills", "1", int(_suggested("outer_fills")), FILLS, _("each to the deepest stop")),
        whole("medical_lock_fills", "1", int(_suggested("medical_fills")), FILLS, _("each to the deepest stop")),
        number("minute_volume", "acfm", _suggested("minute_volume"), (">0", "50"), _("oxygen of one person by mask")),
        optional(number("tender_oxygen", "min", None, ("0", "20160"), _("where the handbook states none, or more"))),
        number("emergency_minutes", "min", _suggested("emergency.minutes"), ("0", "20160"), _("air by mask for all")),
        number("emergency_minute_volume", "acfm", _suggested("emergency.volume"), ("0", "50"), _("of one person")),
        number("reserve", "%", _suggested("reserve"), ("0", "500"), _("of the demand, kept back beside it")),
    ),
    outputs=(
        Output("table_minutes", "min", _("the table from leaving the surface, no extension, whole minutes")),
        Output("longest_run", "min", _("with every extension allowed for, no margin")),
        Output("patient_scf", "scf", _("oxygen of one patient")),
        Output("tender_minutes", "min", _("oxygen that one tender owes; null where not stated")),
        Output("tender_scf", "scf", _("the same as gas; null where not stated")),
        Output("oxygen_litres", "L", _("demand of all at 15 °C and 1 atm; null where not stated")),
        Output("oxygen_reserve_litres", "L", _("kept back beside it")),
        Output("filling_scf", "scf", _("air that fills the locks")),
        Output("ventilation_scf", "scf", _("after the descent; without a dump the larger rate at each minute")),
        Output("masked_scf", "scf", _("counting only the people on oxygen, as the handbook says for no dump")),
        Output("air_rates_scf", "scf", _("by the air rates for everyone")),
        Output("emergency_scf", "scf", _("air by mask for everyone at the deepest stop")),
        Output("air_litres", "L", _("demand of air at 15 °C and 1 atm: locks and ventilation")),
        Output("air_reserve_litres", "L", _("kept back beside it, the emergency air in it")),
        Output("remarks", "", _("what a reader should know")),
    ),
    source=f"{HANDBOOK}, tables (from memory), p. 7-14, 21-26, 22-4 and 22-16; planning figures: common practice",
    formula=_(
        "oxygen = minute volume x integral of (D + 33) / 33 over the minutes on oxygen; locks = volume x D / 33 each"
        " time; ventilation = integral of acfm x (D + 33) / 33; emergency = people x acfm x minutes x (D + 33) / 33"
    ),
    caution=f"{RUNS} {SUPPLY}",
    compute=_compute,
    rests_on=(*rests_on("plans"), *rests_on("supply", "atmosphere", "litres"), *rests_on("ventilation", "air", "mask")),
    from_memory=True,
)
