"""Worksheets: ventilation and the timing of a valve."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from facility.compute.worksheet import Output, Worksheet
from facility.compute.worksheet_inputs import number, optional, whole, yes_no
from treatments.compute.ventilation import People, after_stop, asked, scfm, valve_seconds
from treatments.reference import figures
from treatments.reference.laws import atmosphere, interruption, rates
from treatments.worksheets.common import CHAMBER, DEEPEST, HANDBOOK, rests_on

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
