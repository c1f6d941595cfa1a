"""Which volumes a report has: the plant and the people as they stand, and a volume for each month."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.dateformat import format as date_words
from django.utils.translation import gettext as _

from facility.counted import counted
from facility.report import changes, checks, gas, people, plant, rules, runs
from facility.report.areas import PLANT
from facility.report.scope import Frame, months_of
from facility.report.shape import Section, Volume

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from facility.report.scope import Scope
    from maintenance.upkeep.state import DueState

PLANT_NAME = "report-2-plant"
PEOPLE_NAME = "report-3-people-and-rules"
MONTH_NAME = "report-4-month"


def standing(frame: Frame, states: Sequence[DueState]) -> list[Volume]:
    """Return the volumes that tell how things stand on the day of the report."""
    found = []
    areas = plant.standing(frame, states)
    if areas:
        lead = _("As it stands on %(day)s: each item, each act that is asked for, its newest record and its state.") % {
            "day": frame.day(frame.today)
        }
        found.append(Volume(PLANT_NAME, _("The plant"), tuple(areas), lead))
    sections: list[Section] = []
    if frame.scope.has("people"):
        sections.append(people.section(frame))
    if frame.scope.has("procedures") and not frame.scope.source:
        sections.append(rules.in_force(frame))
    if frame.scope.source or not frame.scope.areas:
        sections += [rules.clause_map(frame, states), rules.not_adopted(frame)]
    if sections:
        title = _("Clauses") if frame.scope.source else _("People, rules and clauses")
        found.append(Volume(PEOPLE_NAME, title, tuple(sections)))
    return found


def months(scope: Scope, today: date) -> list[Volume]:
    """Return a volume for each month that the days of a scope touch."""
    last = min(scope.to_day, today)
    return [month(scope, first, end, today) for first, end in months_of(scope.from_day, last)]


def month(scope: Scope, first: date, last: date, today: date) -> Volume:
    """Return the volume of one month: everything that was recorded of its days."""
    frame = Frame(scope, first, last, today)
    sections = _of_areas(frame) if scope.areas or scope.source else [make(frame) for _areas, make in _PARTS]
    silent = [one.title for one in sections if one.says_nothing]
    sections = [one for one in sections if not one.says_nothing]
    if silent:
        words = _("Nothing was recorded of these days in: %(what)s.") % {"what": "; ".join(silent)}
        sections.append(Section(_("Without a record"), words))
    title = _("Records of %(month)s") % {"month": date_words(first, "F Y")}
    lead = _("Days %(first)s to %(last)s.") % {"first": frame.day(first), "last": frame.day(last)}
    code = f"{first:%Y-%m}"
    return Volume(f"{MONTH_NAME}-{code}", title, tuple(sections), lead, code)


def _checks(frame: Frame) -> Section:
    return checks.section(frame, checks.checks_of(frame))


def _changes(frame: Frame) -> Section:
    told = changes.tally(frame)
    late, gone = changes.late(frame), changes.corrected(frame) | changes.voided(frame)
    lead = _("Recorded in these days: %(entries)s.") % {"entries": counted(told.entries, "entry", "entries")}
    return Section(
        _("Late entries and corrections recorded in these days"), lead,
        tables=(
            changes.table(frame, late if told.late else late.none(), _("Late entries"), None),
            changes.table(frame, gone if told.corrected or told.voided else gone.none(), _("Corrections, and what no longer counts"), None),
        ),
    )  # fmt: skip


_PARTS = (
    (("checks",), _checks), (("runs",), runs.section), (PLANT, plant.work_done), (("gauges",), plant.comparisons), (("gas",), gas.section),
    (PLANT, plant.defects), (("procedures", "fire"), runs.drills), ((), _changes),
)  # fmt: skip
"""What tells of a month, and the areas of which one must be in scope; a part without areas tells of everything alone."""


def _of_areas(frame: Frame) -> list[Section]:
    """Return the sections that belong to the areas of a scope that has some."""
    if frame.scope.source:
        return [make(frame) for make in (plant.work_done, plant.comparisons, plant.defects)]
    return [make(frame) for areas, make in _PARTS if frame.scope.has(*areas)]
