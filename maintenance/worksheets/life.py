"""Worksheets: life of a viewport, requalification of a cylinder."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from facility.compute.worksheet import InputError, Output, Worksheet
from facility.compute.worksheet_inputs import (
    choice,
    day,
    day_or_month,
    number,
    optional,
    rows,
    whole,
    yes_no,
)
from maintenance.compute.counters import Reading, running_total
from maintenance.compute.requalification import (
    MonthRule,
    StarFacts,
    StarLaw,
    pressure_of_test,
    requalification_due,
    star_faults,
)
from maintenance.compute.viewport_life import Viewport, ViewportError, ViewportLaw, viewport_life
from maintenance.worksheets.common import UPKEEP, chosen, values

if TYPE_CHECKING:
    from facility.compute.worksheet import Given
    from maintenance.compute.requalification import StarFault

STAR = "dot-3aa-10-star"
STEEL = ("dot-3aa-5", STAR, "dot-3aa-12")

RULES = tuple(name.removeprefix("years.") for name in values("cylinders.toml") if name.startswith("years."))
CYCLES = (
    day("on", "2026-03-01", _("day")),
    number("value", "cycles", 7300, ("0", "10000000"), _("all cycles since fabrication")),
)


def _window(given: Given) -> dict[str, object]:
    law = ViewportLaw(
        given.whole("life_years"),
        given.number("life_cycles"),
        int(values("viewports.toml")["storage.years"].number),
        int(values("viewports.toml")["life.more_years"].number),
    )
    viewport = Viewport(given.day("fabricated_on"), given.maybe_day("installed_on"), given.yes("stored_as_asked"))
    total = running_total([Reading(row.day("on"), row.number("value")) for row in given.rows("cycles")])
    span = int(given.maybe("usage_span_days") or 36525)
    today = given.day("today")
    try:
        life = viewport_life(viewport, total, law, today, span)
    except ViewportError:
        raise InputError("installed_on", viewport.installed_on, f"on or after {viewport.fabricated_on}") from None
    return {
        "counted_from": life.counted_from,
        "because": life.because,
        "ends_by_years": life.ends_by_years,
        "ends_by_cycles": life.ends_by_cycles,
        "cycles_per_day": None if life.usage is None else float(life.usage.per_day),
        "ends_on": life.ends_on,
        "ended_by": life.ending,
        "design_life_over": life.over(today),
        "outermost_on": life.outermost_on,
        "remark": gettext(
            "Service beyond the design life is the user's documented decision; one source allows up to ten more"
            " years under inspection, another asks to replace at ten years."
        ),
    }


WINDOW_LIFE = Worksheet(
    name="window_life",
    title=_("Life of a window (viewport)"),
    inputs=(
        day("fabricated_on", "2018-06-15", _("from the window's certificate")),
        optional(day("installed_on", "2019-03-01", _("first installed; left out while in storage"))),
        yes_no("stored_as_asked", True, _("up to 52 °C, out of sunlight, protected, with a storage record")),
        optional(
            rows(
                "cycles",
                CYCLES,
                [{"on": "2019-03-01", "value": 0}, {"on": "2026-03-01", "value": 7300}],
                _("counted pressure cycles"),
            )
        ),
        whole("life_years", "years", 10, ("1", "40"), _("from the certificate")),
        number("life_cycles", "cycles", 10000, (">0", "1000000"), _("from the certificate")),
        optional(whole("usage_span_days", "d", None, ("1", "36525"), _("span for the rate; without it all readings"))),
        day("today", "2026-03-01", _("day to judge")),
    ),
    outputs=(
        Output("counted_from", "YYYY-MM-DD", _("from where the years count")),
        Output("because", "", _("why from there")),
        Output("ends_by_years", "YYYY-MM-DD", _("last good day by age")),
        Output("ends_by_cycles", "YYYY-MM-DD", _("reached, or projected at the present use")),
        Output("cycles_per_day", "cycles/d", _("rate of use")),
        Output("ends_on", "YYYY-MM-DD", _("whichever comes first")),
        Output("ended_by", "", _("which comes first")),
        Output("design_life_over", "", _("on the day to judge")),
        Output("outermost_on", "YYYY-MM-DD", _("never later, by age, even with a documented decision")),
        Output("remark", "", _("where sources differ")),
    ),
    source="published answers of the Undersea and Hyperbaric Medical Society; ASME PVHO-2, storage; AODC 030",
    formula=_(
        "years from installation (stored as asked, at most ten years after fabrication, else from fabrication); cycles: last reading + rest / rate, fractions of a day cut off"
    ),
    caution=UPKEEP,
    compute=_window,
    rests_on=chosen("viewports.toml"),
)


def _star(given: Given) -> tuple[StarFault, ...]:
    """Return why the star does not hold. Errors: InputError where a condition is not answered."""
    for name in ("made_on", "water_capacity"):
        if given.values[name] is None:
            raise InputError(name, None, f"needed, since rule is {STAR}")
    made = given.month("made_on")
    facts = StarFacts(
        made.on,
        given.number("water_capacity"),
        given.yes("out_of_cluster"),
        given.yes("hammer_tested"),
        given.yes("listed_dry_gas"),
    )
    return star_faults(facts, _star_law(), given.day("today"))


def _star_law() -> StarLaw:
    table = values("cylinders.toml")
    return StarLaw(
        table["star.largest_litres"].number,
        int(table["star.oldest_years"].number),
        int(table[f"years.{STAR}"].number),
        int(table["star.years_without"].number),
    )


def _cylinder(given: Given) -> dict[str, object]:
    table = values("cylinders.toml")
    rule, stamp, today = given.text("rule"), given.month("stamped"), given.day("today")
    faults = _star(given) if rule == STAR else ()
    years = _star_law().years_without if faults else int(table[f"years.{rule}"].number)
    due = requalification_due(stamp.on, years, month_only=stamp.month_only, rule=MonthRule(given.text("month_rule")))
    service = given.maybe("service_pressure")
    fraction = (int(table["test_pressure.numerator"].number), int(table["test_pressure.denominator"].number))
    return {
        "due_on": due,
        "in_date": today <= due,
        "days_left": (due - today).days,
        "years": years,
        "star_holds": None if rule != STAR else not faults,
        "star_faults": list(faults),
        "test_pressure": pressure_of_test(service, *fraction) if service is not None and rule in STEEL else None,
        "month_rule": given.text("month_rule"),
        "standing": table[f"years.{rule}"].standing,
    }


CYLINDER_REQUALIFICATION = Worksheet(
    name="cylinder_requalification",
    title=_("Requalification of a cylinder"),
    inputs=(
        choice("rule", RULES, STAR, _("which rule the cylinder falls under")),
        day_or_month("stamped", "2021-04", _("last test, from the shoulder")),
        choice("month_rule", tuple(MonthRule), "end of the month", _("which day a month runs out on; a house choice")),
        day("today", "2026-03-01", _("day to judge")),
        optional(day_or_month("made_on", "1998-05", _("for the star: manufacture"))),
        optional(number("water_capacity", "L", 50, (">0", "10000"), _("for the star"))),
        optional(yes_no("out_of_cluster", True, _("for the star: taken out of any cluster for filling"))),
        optional(yes_no("hammer_tested", True, _("for the star: before each filling"))),
        optional(yes_no("listed_dry_gas", True, _("for the star: one of the listed dry gases"))),
        optional(number("service_pressure", "bar", 150, (">0", "1000"), _("gauge; for the test pressure of steel"))),
    ),
    outputs=(
        Output("due_on", "YYYY-MM-DD", _("last good day; no grace")),
        Output("in_date", "", _("on the day to judge")),
        Output("days_left", "d", _("below 0 overdue")),
        Output("years", "years", _("that the rule gives")),
        Output("star_holds", "", _("none without a star")),
        Output("star_faults", "", _("why the star does not hold; left out answers count as no")),
        Output("test_pressure", "bar", _("gauge, steel 3A and 3AA only")),
        Output("month_rule", "", _("as chosen")),
        Output("standing", "", _("of the years: retrieved, or from memory and unconfirmed")),
    ),
    source="49 CFR 180.209; ADR (weak source); both may have moved",
    formula=_(
        "stamp + years of the rule, to the end (or first) of the month; star void: years without it; test pressure 5/3 of service pressure"
    ),
    caution=UPKEEP,
    compute=_cylinder,
    rests_on=chosen("cylinders.toml"),
)
