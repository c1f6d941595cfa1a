"""A plan that was worked out, part by part, and the cautions that stand above it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from facility.counted import counted
from treatments.plan_maker.gas_parts import air_part, oxygen_part
from treatments.plan_maker.sums import Line, Part, Value, shown
from treatments.reference import FILES, table_values
from treatments.table_book.tables import TableStanding

if TYPE_CHECKING:
    from treatments.plan_maker.working import Worked


def parts_of(worked: Worked, margin_min: int) -> tuple[Part, ...]:
    """Return duration, oxygen and air of a plan."""
    values = (_table_value(worked),)
    return duration_part(worked, margin_min, values), oxygen_part(worked, values), air_part(worked, values)


def _table_value(worked: Worked) -> Value:
    """Return the table as one value that the sums rest on, confirmed or not as it stands at the site."""
    found = worked.found
    confirmed = found.standing != TableStanding.UNCONFIRMED
    meaning = _("stops, gases and extensions of %s") % found.table.title
    version = _("version %d of the site") % found.version if found.version else _("as shipped")
    if found.table.key in FILES and not confirmed:
        memory = sum(1 for one in table_values(found.table.key).values() if not one.confirmed)
        version = _("as shipped, %d values from memory") % memory
    return found.table.key, "", meaning, f"{found.table.body}, {found.table.revision}; {version}", confirmed


def duration_part(worked: Worked, margin_min: int, values: tuple[Value, ...]) -> Part:
    """Return how long the chamber is taken, in minutes."""
    demand, table = worked.demand, worked.found.table
    lines = [Line(_("Table, descent included"), _minutes(demand.table_min), _plain(worked), values)]
    for one in demand.added:
        words = _("Extensions at %(depth)s fsw, %(n)d · %(m)d min")
        said = {"depth": shown(one.depth_fsw), "n": one.allowed, "m": one.minutes}
        total = one.allowed * one.minutes
        lines.append(Line(words % said, _minutes(total), f"{one.allowed} · {one.minutes} min", values))
    run = " + ".join([str(demand.table_min), *(str(one.allowed * one.minutes) for one in demand.added)])
    lines += [
        Line(_("Longest run"), _minutes(demand.run_min), f"{run} = {demand.run_min} min", (), "tot"),
        Line(_("Margin of the house"), _minutes(margin_min), _("a house rule, under Set-up"), ()),
        Line(
            _("Chamber taken for"),
            _minutes(demand.run_min + margin_min),
            f"{demand.run_min} + {margin_min} min",
            (),
            "end",
        ),
    ]
    notes = []
    if table.first_stop is not None:
        least, most = table.first_stop
        if most is None:
            notes.append(_("The first stop has no longest: it is counted with its shortest, %s min.") % shown(least))
        else:
            notes.append(_("The first stop is counted with its longest, %s min.") % shown(most))
    return Part("duration", _("How long the chamber is taken"), tuple(lines), tuple(notes))


def _plain(worked: Worked) -> str:
    descent, run = worked.found.table.descent, worked.demand.run
    down = f"{shown(descent.to_fsw)} fsw / {shown(descent.rate_fsw_min)} fsw/min = {shown(run.descent.minutes)} min"
    if run.table_minutes == run.run_minutes:
        return _("%(total)s min by the clock of the table, which includes the descent: %(down)s") % {
            "total": shown(worked.demand.table_min), "down": down,
        }  # fmt: skip
    by_clock = run.table_minutes - sum(one.allowed * one.minutes for one in worked.demand.added)
    return f"{down}; + {shown(by_clock)} min = {worked.demand.table_min} min"


def _minutes(value: int) -> str:
    return f"{value} min"


def cautions(worked: Worked) -> list[str]:
    """Return what stands against the plan as it was asked for: nobody is kept from it."""
    found = []
    if worked.places and worked.people > worked.places:
        found.append(
            _("Planned for %(people)s; the inner lock takes %(most)d by its record.")
            % {"people": counted(worked.people, "person", "people"), "most": worked.places}
        )
    for lock in worked.too_deep:
        said = {"depth": shown(worked.demand.deepest_fsw), "lock": lock.name, "limit": shown(float(lock.working_pressure)),
                "unit": lock.get_working_pressure_unit_display()}  # fmt: skip
        words = _("The table goes to %(depth)s fsw; the working pressure of %(lock)s is %(limit)s %(unit)s.")
        found.append(words % said)
    if worked.asking.tenders == 0:
        found.append(_("No tender is planned for inside the chamber."))
    return found
