"""Worksheets: ventilation and the timing of a valve."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from facility.compute.worksheet import InputError, Output, Worksheet
from facility.compute.worksheet_inputs import number, optional, whole, yes_no
from treatments.compute.run_air import Inside, stretches
from treatments.compute.ventilation import People, after_stop, air_used, asked, scfm, valve_seconds
from treatments.reference import figures
from treatments.reference.laws import atmosphere, interruption, rates
from treatments.worksheets.common import CHAMBER, DEEPEST, HANDBOOK, RUNS, TABLE_INPUTS, planned, rests_on

if TYPE_CHECKING:
    from facility.compute.worksheet import Given

MOST_PEOPLE = ("0", "50")


def _ventilation(given: Given) -> dict[str, object]:
    people = People(*(given.whole(name) for name in ("air_rest", "air_working", "mask_rest", "mask_working")))
    found = asked(people, rates(), dump=given.yes("overboard_dump"))
    depth, fsw = given.real("depth"), atmosphere().fsw
    answers: dict[str, object] = {
        "acfm": found.acfm,
        "scfm": scfm(found.acfm, depth, fsw),
        "air_rates_acfm": found.air_rates_acfm,
        "remark": "",
    }
    if found.below_air_rates:
        answers["remark"] = gettext(
            "Counting only the people on oxygen asks for less than the air rates would: look at both figures."
        )
    return answers | _stop(given, found.acfm, depth)


def _stop(given: Given, acfm: float, depth: float) -> dict[str, object]:
    stopped = given.maybe("stopped_minutes")
    names = ("catch_up_acfm", "catch_up_scfm", "catch_up_minutes", "then_acfm")
    if stopped is None:
        return {"interruption": gettext("none given"), **dict.fromkeys(names)}
    after = after_stop(acfm, float(stopped), interruption())
    if after.acfm is None:
        words = gettext("longer than the rule allows; what follows is not stated: ask the physician")
        return {"interruption": words, **dict.fromkeys(names)}
    flow = scfm(after.acfm, depth, atmosphere().fsw)
    found = dict(zip(names, (after.acfm, flow, after.minutes, acfm), strict=True))
    return {"interruption": gettext("within the rule"), **found}


def _valve(given: Given) -> dict[str, object]:
    fall = float(figures("ventilation")["valve.fall"].number)
    depth = given.real("depth")
    seconds = valve_seconds(given.real("lock_volume"), given.real("rate"), depth, fall, atmosphere().fsw)
    return {
        "seconds": seconds,
        "minutes": seconds / 60,
        "from_depth": depth + fall / 2,
        "to_depth": depth - fall / 2,
    }


def _run_air(given: Given) -> dict[str, object]:
    run = planned(given)
    minutes = given.maybe("tender_oxygen")
    inside = Inside(given.whole("patients"), given.whole("tenders"), float(minutes or 0))
    after_descent = run.run_minutes - run.descent.minutes
    if inside.tender_oxygen_min > after_descent:
        raise InputError("tender_oxygen", minutes, f"0 to {after_descent:g} min, the run after its descent")
    found = stretches(run, inside, rates(), dump=given.yes("overboard_dump"))
    ventilation = air_used(found, atmosphere().fsw)
    filling = given.real("lock_volume") * run.descent.end_fsw / atmosphere().fsw
    return {
        "ventilation_scf": ventilation,
        "filling_scf": filling,
        "total_scf": ventilation + filling,
        "highest_acfm": max(one.acfm for one in found),
        "mean_scfm": ventilation / after_descent,
    }


VENTILATION = Worksheet(
    name="ventilation",
    title=_("Ventilation asked for"),
    inputs=(
        number("depth", "fsw", 60, DEEPEST, _("gauge")),
        whole("air_rest", "1", 0, MOST_PEOPLE, _("people on chamber air, at rest")),
        whole("air_working", "1", 1, MOST_PEOPLE, _("people on chamber air, not at rest, as a tender at work")),
        whole("mask_rest", "1", 1, MOST_PEOPLE, _("people on oxygen by mask, at rest")),
        whole("mask_working", "1", 0, MOST_PEOPLE, _("people on oxygen by mask, not at rest")),
        yes_no("overboard_dump", False, _("exhaled oxygen goes overboard: the air rates hold for everyone")),
        optional(number("stopped_minutes", "min", 4, ("0", "30"), _("ventilation stopped in the last 30 min"))),
    ),
    outputs=(
        Output("acfm", "acfm", _("at depth")),
        Output("scfm", "scfm", _("at the surface")),
        Output("air_rates_acfm", "acfm", _("the air rates for everyone, beside it")),
        Output("remark", "", _("what a reader should know")),
        Output("interruption", "", _("the stop against the rule")),
        Output("catch_up_acfm", "acfm", _("after the stop")),
        Output("catch_up_scfm", "scfm", _("the same at the surface")),
        Output("catch_up_minutes", "min", _("for this long")),
        Output("then_acfm", "acfm", _("and from then on")),
    ),
    source=f"{HANDBOOK}, p. 22-16 and p. 7-14",
    formula=_(
        "2 and 4 acfm for each person on air at rest and not; 12.5 and 25 for each on a mask without dump, then only"
        " these are counted; scfm = acfm x (D + 33) / 33; a stop of 5 min in 30 is made good at twice the rate"
    ),
    caution=CHAMBER,
    compute=_ventilation,
    rests_on=rests_on("ventilation", "air", "mask", "interruption"),
)
VALVE_TIMING = Worksheet(
    name="valve_timing",
    title=_("Timing of an exhaust valve"),
    inputs=(
        number("lock_volume", "ft3", 425, (">0", "100000"), _("floodable volume of the lock, nobody inside")),
        number("rate", "acfm", 6, (">0", "1000"), _("ventilation that the valve is marked for")),
        number("depth", "fsw", 165, ("5", "400"), _("gauge, in the middle of the fall")),
    ),
    outputs=(
        Output("seconds", "s", _("for the fall")),
        Output("minutes", "min", _("the same")),
        Output("from_depth", "fsw", _("start of the fall")),
        Output("to_depth", "fsw", _("end of the fall")),
    ),
    source=f"{HANDBOOK}, p. 22-17 and 22-18; form fitted to the printed example",
    formula=_("seconds = 60 x volume x 10 / (rate x (D + 33))"),
    caution=CHAMBER,
    compute=_valve,
    rests_on=rests_on("ventilation", "valve"),
)
RUN_AIR = Worksheet(
    name="run_air",
    title=_("Air that a whole run asks for"),
    inputs=(
        *TABLE_INPUTS,
        whole("patients", "1", 1, MOST_PEOPLE, _("at rest, breathing by the table")),
        whole("tenders", "1", 1, MOST_PEOPLE, _("at work on air, at rest on oxygen")),
        optional(number("tender_oxygen", "min", 60, ("0", "20160"), _("tenders on oxygen before the surface"))),
        yes_no("overboard_dump", False, _("exhaled oxygen goes overboard: the air rates hold for everyone")),
        number("lock_volume", "ft3", 300, ("0", "100000"), _("floodable volume of the lock that is filled")),
    ),
    outputs=(
        Output("ventilation_scf", "scf", _("ventilation after the descent")),
        Output("filling_scf", "scf", _("to fill the lock to the first stop")),
        Output("total_scf", "scf", _("both")),
        Output("highest_acfm", "acfm", _("highest ventilation asked for")),
        Output("mean_scfm", "scfm", _("mean over the run after its descent")),
    ),
    source=f"{HANDBOOK}, p. 22-16 and p. 7-14; tables from memory",
    formula=_("integral of acfm x (D + 33) / 33 over the run, acfm by who is on air and on a mask; volume x D / 33"),
    caution=f"{RUNS} {CHAMBER}",
    compute=_run_air,
    rests_on=rests_on("ventilation", "air", "mask"),
    from_memory=True,
)
