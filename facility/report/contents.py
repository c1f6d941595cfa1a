"""Which volumes a report has: the plant and the people as they stand, and a volume for each month."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.utils.dateformat import format as date_words
from django.utils.translation import gettext as _

from facility.counted import counted
from facility.report import changes, checks, gas, people, plant, rules, runs
from facility.report.areas import PLANT
from facility.report.scope import Frame, months_of
from facility.report.shape import Section, Volume

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
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


@dataclass(frozen=True, slots=True)
class Months:
    """The volumes of months in their order, and the months, as first and last day, of which nothing is on record."""

    told: tuple[Volume, ...]
    silent: tuple[tuple[date, date], ...]
    begins_on: date | None

    def beginning(self, frame: Frame) -> str:
        """Return in a sentence since when there is anything of the days of a frame, nothing where there is all along."""
        if self.begins_on is None:
            return _("Of what is told month by month nothing is on record of these days.") if self.silent else ""
        if not self.silent or self.begins_on < self.silent[0][0]:
            return ""
        return _("Of what is told month by month nothing is on record before %(day)s.") % {
            "day": frame.day(self.begins_on)}  # fmt: skip

    def left_out(self) -> str:
        """Return in a sentence which months have no volume, nothing where all have one."""
        if not self.silent:
            return ""
        spans: list[tuple[date, date]] = []
        for first, last in self.silent:
            follows = bool(spans) and (first - spans[-1][1]).days == 1
            if follows:
                spans[-1] = (spans[-1][0], last)
            else:
                spans.append((first, last))
        return _("Of what is told month by month nothing is on record of these, and so they have no volume: %(months)s.") % {
            "months": "; ".join(_span(first, last) for first, last in spans)}  # fmt: skip


def _span(first: date, last: date) -> str:
    begins, ends = date_words(first, "b Y").capitalize(), date_words(last, "b Y").capitalize()
    return begins if begins == ends else _("%(first)s to %(last)s") % {"first": begins, "last": ends}


def months(scope: Scope, today: date) -> Months:
    """Return a volume for each month that the days of a scope touch and of which anything is on record."""
    last = min(scope.to_day, today)
    told, silent, begins_on = [], [], None
    for first, end in months_of(scope.from_day, last):
        volume = month(scope, first, end, today)
        if volume.says_nothing:
            silent.append((first, end))
            continue
        told.append(volume)
        begins_on = begins_on or first
    return Months(tuple(told), tuple(silent), begins_on)


def month(scope: Scope, first: date, last: date, today: date) -> Volume:
    """Return the volume of one month: everything that was recorded of its days."""
    frame = Frame(scope, first, last, today)
    sections = [make(frame) for make in _parts_of(scope)]
    silent = [one.title for one in sections if one.says_nothing]
    sections = [one for one in sections if not one.says_nothing]
    if silent:
        words = _("Nothing was recorded of these days in: %(what)s.") % {"what": "; ".join(silent)}
        sections.append(Section(_("Without a record"), words))
    title = _("Records of %(month)s") % {"month": date_words(first, "F Y")}
    lead = _("Days %(first)s to %(last)s.") % {"first": frame.day(first), "last": frame.day(last)}
    if first == last:
        lead = _("The day %(day)s.") % {"day": frame.day(first)}
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
    (("checks",), _checks), (("runs",), runs.section), (("runs", "procedures"), runs.waivers), (PLANT, plant.work_done), (("gauges",), plant.comparisons), (("gas",), gas.section),
    (PLANT, plant.defects), (("procedures", "fire"), runs.drills), ((), _changes),
)  # fmt: skip
"""What tells of a month, and the areas of which one must be in scope; a part without areas belongs to each."""
_OF_A_CODE = (plant.work_done, plant.comparisons, plant.defects, _changes)


def _parts_of(scope: Scope) -> list[Callable[[Frame], Section]]:
    """Return what tells of a month in a scope."""
    if scope.source:
        return list(_OF_A_CODE)
    return [make for areas, make in _PARTS if not areas or scope.has(*areas)]
