"""A plan in force beside what its table would give now: minutes and litres, and where they differ."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from treatments.compute.plan_asking import PlanDemandError
from treatments.compute.plans import parse_extensions, run_min
from treatments.compute.profile import ProfileError
from treatments.compute.tables import TableError
from treatments.plan_maker.forms import as_query
from treatments.plan_maker.inputs import Known, known_of
from treatments.plan_maker.working import Worked, work_out
from treatments.table_book.tables import NoSuchTableError, table_for

if TYPE_CHECKING:
    from treatments.compute.plan_asking import Asking
    from treatments.compute.tables import Extension as Allowed
    from treatments.compute.tables import Table
    from treatments.models import Plan
    from treatments.table_book.tables import TableInForce

WHOLE = 1e-6


@dataclass(frozen=True, slots=True)
class Row:
    """One number of a plan beside that of its table; ``table`` None: not stated.

    ``surely``: the least that the table gives whatever the plan does not say of itself; None: the same as ``table``.
    """

    name: str
    plan: int | None
    table: int | None
    unit: str
    surely: int | None = None

    @property
    def below(self) -> bool:
        """Whether the plan asks for less than its table would give, as far as is known or assumed."""
        return self.table is not None and (self.plan or 0) < self.table

    @property
    def less(self) -> bool:
        """Whether the plan asks for less whatever it does not say of itself: a finding."""
        return self.below and (self.surely is None or (self.plan or 0) < self.surely)

    @property
    def mark(self) -> str:
        """The mark beside the word."""
        if self.table is None or (self.below and not self.less):
            return "unknown"
        return "limits" if self.less else "indate"

    @property
    def words(self) -> str:
        """Say how they differ."""
        if self.table is None:
            return _("not stated by the table")
        found = (self.plan or 0) - self.table
        if found == 0:
            return _("the same")
        said = {"n": f"{abs(found):,}".replace(",", "\u202f"), "unit": self.unit}
        if found > 0:
            return _("the plan asks for %(n)s %(unit)s more") % said
        if not self.less:
            return _("%(n)s %(unit)s less than assumed here: the plan does not say how it was reckoned") % said
        return _("the plan asks for %(n)s %(unit)s less") % said


@dataclass(frozen=True, slots=True)
class Comparison:
    """A plan beside its table. ``query``: of the page of sums. ``fault``: why nothing can be compared; ``notes``: what it rests on."""

    rows: tuple[Row, ...] = ()
    notes: tuple[str, ...] = ()
    query: dict[str, str] | None = None
    fault: str = ""

    @property
    def findings(self) -> list[Row]:
        """Where the plan asks for less than its table would give."""
        return [row for row in self.rows if row.less]


def compare(plan: Plan) -> Comparison | None:
    """Return a plan beside what its table would give now; None for a plan that names no table."""
    if not plan.table:
        return None
    try:
        found = table_for(plan.chamber.site, plan.table)
    except (NoSuchTableError, TableError) as error:
        return Comparison(fault=str(error))
    known = known_of(plan.source, plan.party, found.table)
    query = {"table": plan.table, "chamber": str(plan.chamber_id), "old": str(plan.pk)}
    if known is None:
        words = _("How many patients and tenders go inside cannot be read from “%(party)s”: type it with the sums.")
        return Comparison(notes=(words % {"party": plan.party},), query=query)
    counts, strange = _extensions(plan, found.table)
    asking = replace(known.asking, extensions=counts)
    query |= as_query(asking)
    try:
        worked = work_out(found, plan.chamber, asking)
        bare = _least(known, asking)
        least = None if bare is None else work_out(found, plan.chamber, bare)
    except (PlanDemandError, ProfileError) as error:
        return Comparison(query=query, fault=str(error))
    return Comparison((*_minutes(plan, worked, strange), *_litres(plan, worked, least)), _notes(known, found), query)


def _extensions(plan: Plan, table: Table) -> tuple[dict[float, int], list[tuple[int, int]]]:
    """Return how many extensions the plan allows for by depth, and those that the table does not state."""
    open_ones = list(table.extensions)
    counts = dict.fromkeys((one.depth_fsw for one in table.extensions), 0)
    strange = []
    for one in parse_extensions(plan.extensions):
        match = next((each for each in open_ones if abs(_length(each) - float(one.minutes)) < WHOLE), None)
        if match is None:
            strange.append((int(one.minutes), int(one.allowed)))
            continue
        open_ones.remove(match)
        counts[match.depth_fsw] = min(int(one.allowed), match.allowed)
        if one.allowed > match.allowed:
            strange.append((int(one.minutes), int(one.allowed) - match.allowed))
    return counts, strange


def _length(one: Allowed) -> float:
    return sum(part.minutes for part in one.segments)


def _minutes(plan: Plan, worked: Worked, strange: list[tuple[int, int]]) -> tuple[Row, ...]:
    demand = worked.demand
    lasts = run_min(plan.table_min, parse_extensions(plan.extensions))
    return (
        Row(_("Table, descent included"), plan.table_min, demand.table_min, "min"),
        *(Row(_("Extensions of %(m)d min that the table does not state") % {"m": each}, each * count, None, "min")
          for each, count in strange),
        Row(_("Longest run"), int(lasts), demand.run_min, "min"),
    )  # fmt: skip


def _litres(plan: Plan, worked: Worked, least: Worked | None) -> tuple[Row, ...]:
    """Return demand and reserve of each gas; ``least``: the same with a dump, where the plan does not say."""
    found = []
    for place, one in enumerate(worked.amounts):
        stored = plan.gas.get(one.gas, {})
        if not stored and one.needed == 0:
            continue
        surely = None if least is None else least.amounts[place].demand
        reserve_surely = None if least is None else 0
        for name, words, value, sure in (
            ("demand", _("%(gas)s, demand of one run"), one.demand, surely),
            ("reserve", _("%(gas)s, reserve that must be left"), one.reserve, reserve_surely),
        ):
            typed = stored.get(name)
            found.append(Row(words % {"gas": one.gas}, None if typed is None else int(typed), value, "L", sure))
    return tuple(found)


def _least(known: Known, asking: Asking) -> Asking | None:
    """Return the least that a plan may have been reckoned with where it does not say; None where it does."""
    if known.exact:
        return None
    return replace(asking, dump=True, previous=False, outer_fills=0, medical_fills=0)


def _notes(known: Known, found: TableInForce) -> tuple[str, ...]:
    if not known.exact:
        return (_("The plan does not say how it was reckoned: the party is read from its words, all else is as the"
                  " page of sums begins, without a dump. Open the sums to put in your own figures."),)  # fmt: skip
    if (known.table, known.version) != (found.table.key, found.version):
        words = _("The plan was reckoned from %(table)s, version %(before)d; version %(now)d counts now.")
        return (words % {"table": known.table, "before": known.version or 0, "now": found.version},)
    return (_("Reckoned with what the plan says of itself, from the table and the locks as they stand now."),)
