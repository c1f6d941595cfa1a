"""Explained: the planned clock, stops and rates, and departures of the log from the table."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from facility.reference import sources
from treatments.figures.sum import NOTHING, Grid, Line, Sum, clock, elapsed, figure, grid
from treatments.figures.words import departure_words, who_words
from treatments.reference import FILES, table_values
from treatments.worksheets.common import RUNS, rests_on

if TYPE_CHECKING:
    from facility.compute.reference import Sourced
    from treatments.compute.conformity import Rule
    from treatments.figures.shape import Figures


def table_sources(figures: Figures) -> tuple[Sourced, ...]:
    """Return the sourced values of the shipped table that the run used; a site's own table has one source of its own."""
    key = "" if figures.used is None else figures.used.key
    return tuple(table_values(key).values()) if key in FILES and figures.used and figures.used.version == 0 else ()


def planned_clock(figures: Figures) -> Sum:
    """Explain what was and is due."""
    plan, used = figures.plan, figures.used
    given = [Line(_("extensions at %(depth)g fsw") % {"depth": at}, str(n)) for at, n in figures.extensions.items()]
    results = []
    if plan is not None and used is not None:
        given.insert(0, Line(_("table"), f"{used.table.title}, {used.table.body}, {used.table.revision}"))
        given.insert(1, Line(_("version"), _("as shipped") if used.version == 0 else str(used.version)))
        results.append(Line(_("length by the table, from leaving the surface"), figure(plan.run_minutes), "min"))
        if figures.moved_min is not None and figures.started_at is not None:
            results.append(Line(_("later than that by"), figure(figures.moved_min), "min"))
            words = _("reaches the surface, planned") if figures.ended_at is None else _("reached the surface")
            results.append(Line(words, clock(figures.ended_at or figures.planned_end_at, figures.zone)))
    done = len(figures.events) - len(figures.next_events)
    rows = [
        (elapsed(one.minute), clock(one.at, figures.zone), one.what, who_words(one.who), _("done") if n < done else "")
        for n, one in enumerate(figures.events)
    ]
    head = (_("Run time"), _("At"), _("What"), _("Who"), _("State"))
    return Sum(
        key="clock", title=_("Planned clock"), given=tuple(given), results=tuple(results),
        grids=grid(_("What was and is due, as moved by the log"), head, rows) or _plan_grid(figures),
        formula=_(
            "Each stop begins when it was really reached, or when the surface was left where the table counts the descent."
            " An extension is put in before its depth is left. A period of oxygen that is broken off goes on where it was"
            " broken off. From the last logged line on, each piece takes the minutes of the table."
        ),
        rests_on=table_sources(figures), caution=_(RUNS), worksheet="table_profile",
    )  # fmt: skip


def _plan_grid(figures: Figures) -> tuple[Grid, ...]:
    plan = figures.plan
    if plan is None:
        return ()
    rows = [
        (elapsed(end), f"{one.start_fsw:g}", f"{one.end_fsw:g}", figure(one.minutes), one.gas)
        for one, end in zip(plan.segments, plan.ends, strict=True)
    ]
    head = (_("Run time at its end"), _("From fsw"), _("To fsw"), _("Minutes"), _("Gas"))
    return grid(_("The table with its extensions"), head, rows)


def stops_and_rates(figures: Figures) -> Sum:
    """Explain stop times and rates."""
    stops = [
        (
            f"{one.depth_fsw:g}", clock(one.arrived_at, figures.zone),
            _("still there") if one.left_at is None else clock(one.left_at, figures.zone), figure(one.minutes),
            NOTHING if one.planned_min is None else figure(one.planned_min),
        )
        for one in figures.stops
    ]  # fmt: skip
    rates = [
        (
            f"{one.from_fsw:g}", f"{one.to_fsw:g}", clock(one.started_at, figures.zone),
            figure((one.ended_at - one.started_at).total_seconds() / 60), figure(abs(one.rate_fsw_min)),
            _("up") if one.rate_fsw_min > 0 else _("down"),
        )
        for one in figures.rates
    ]  # fmt: skip
    stop_head = (_("Depth, fsw"), _("Reached"), _("Left"), _("Minutes by the table's clock"), _("Minutes of the table"))
    rate_head = (_("From fsw"), _("To fsw"), _("From"), _("Minutes"), _("fsw/min"), _("Way"))
    return Sum(
        key="stops", title=_("Stops and rates"),
        formula=_(
            "minutes of a stop = left - reached; where the table says so, with the travel before it; rate = change of"
            " depth / minutes. Lines within the house tolerance of a stop are that stop."
        ),
        grids=(*grid(_("Stops"), stop_head, stops), *grid(_("Changes of depth"), rate_head, rates)),
        rests_on=rests_on("conformity", "depth"), caution=_(RUNS),
    )  # fmt: skip


def departures(figures: Figures) -> Sum:
    """Explain the departures of the log from the table."""
    found = figures.conformity
    rows, remarks = [], []
    for who, one in () if found is None else found.found:
        rows.append(
            (
                elapsed(one.minute), departure_words(one.kind), who_words(who), f"{one.depth_fsw:g}",
                f"{figure(one.planned)} {one.unit}", f"{figure(one.logged)} {one.unit}",
                f"{figure(one.size)} {one.unit}", f"{_(one.rule.text)} ({source_words(one.rule)})",
            )
        )  # fmt: skip
    if found is None:
        remarks.append(_("Nothing is compared: no table, or no depth logged yet."))
    elif not rows:
        remarks.append(_("No departure beyond the tolerances."))
    if found is not None and found.so_far:
        remarks.append(_("So far: the run is on, and what is still to come is not compared."))
    head = (
        _("Run time"), _("Departure"), _("Who"), _("Depth, fsw"), _("Planned"), _("Logged"), _("Size"), _("Rule, source"),
    )  # fmt: skip
    return Sum(
        key="conformity", title=_("Log against table"),
        formula=_("size = logged - planned; it counts when it is larger than the tolerance of the house rules"),
        grids=grid(_("Departures"), head, rows), remarks=tuple(remarks), rests_on=rests_on("conformity"),
        caution=_(
            "Departures are shown, not judged, and ask for nothing. What follows from one is the supervisor's and the"
            " physician's."
        ),
    )  # fmt: skip


def source_words(rule: Rule) -> str:
    """Say where a rule comes from."""
    if rule.source == "table":
        return _("the table of this run")
    return str(sources()[rule.source]["title"])
