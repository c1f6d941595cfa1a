"""The first volume: what is not in order, the counts, what follows, and how to verify all of it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from facility.report import changes, checks, front, gas, plant, rules, runs
from facility.report.areas import PLANT
from facility.report.front import in_groups
from facility.report.shape import Cell, Section, Table, Volume
from maintenance.models import Defect, IntervalRule
from treatments.models import Run

if TYPE_CHECKING:
    from collections.abc import Sequence

    from facility.report.checks import Checks
    from facility.report.scope import Frame
    from maintenance.upkeep.state import DueState

NAME: Final = "report-1-summary"
MOST: Final = changes.MOST_OPENING


@dataclass(frozen=True, slots=True)
class Listed:
    """One of the other volumes, as the first one lists it. ``instead``: the earlier ones of the same month."""

    name: str
    title: str
    pages: int
    sha256: str
    instead: str = ""


def volume(frame: Frame, states: Sequence[DueState], found: Checks, beginning: str = "") -> Volume:
    """Return the first volume of a report, but for the list of the others: those are not made yet.

    ``beginning``: since when there is anything of its days, where that is not all along.

    Its first page names every sort of thing in scope that is not in order; only those of which there are some are told
    after it.
    """
    counted = [*_of_the_watch(frame, found), *_of_the_plant(frame, states)]
    sections = [*(one for one in counted if one.count), *_files(frame)]
    if frame.scope.has(*front.CHECKS):
        sections.append(checks.section(frame, found, paper=False))
    title = _("Records, %(first)s to %(last)s") % {"first": frame.day(frame.from_day), "last": frame.day(frame.to_day)}
    lead = _("This report opens with what is not in order. Everything else follows by subject, by clause and by month.")
    return Volume(NAME, title, tuple(sections), lead, front=front.page(frame, found, counted, beginning))


def _of_the_watch(frame: Frame, found: Checks) -> list[Section]:
    """Return what is not in order of checks, of the log, and of runs, each where it is in scope."""
    told = [_gaps(frame, found)] if frame.scope.has(*front.CHECKS) else []
    told += [_late(frame), _corrections(frame)]
    if frame.scope.has(*front.WAIVERS):
        told.append(_waivers(frame))
    if frame.scope.has(*front.RUNS):
        told.append(_outside(frame))
    return told


def _of_the_plant(frame: Frame, states: Sequence[DueState]) -> list[Section]:
    """Return what is not in order of the plant, where any of it is in scope."""
    if not frame.scope.has(*PLANT):
        return []
    return [_defects(frame), _overdue(frame, states), _deviations(frame), _memory(frame)]


def with_list(opening: Volume, listed: Sequence[Listed], left_out: str = "") -> Volume:
    """Return the first volume with the list of the others, and with the months that have none."""
    return replace(opening, sections=(*opening.sections, following(listed, left_out)))


def _files(frame: Frame) -> list[Section]:
    """Return what was taken in from files later than the house lets pass, where there is any."""
    rows = changes.from_files(frame)
    count = rows.count()
    if not count:
        return []
    lead = _(
        "Older records that came in with a file: each keeps the time that the file gave, and none was seen by the box when it happened."
    )
    table = changes.table(frame, rows, _("By sort of record"))
    return [
        Section(
            _("Taken in later from files"),
            lead,
            count,
            (table,),
            notes=_more(count, table.told_by(), _("data/events.jsonl")),
        )
    ]


def _gaps(frame: Frame, found: Checks) -> Section:
    rows = tuple(
        (
            Cell(one.chamber), Cell(frame.day(one.span.first)), Cell(frame.day(one.span.last) if one.span.days > 1 else ""),
            Cell(_("no weekly check in this week") if one.weekly else ngettext("no daily check on %(n)d day", "no daily checks on %(n)d days", one.span.days) % {"n": one.span.days}),
        )
        for one in found.missing
    )  # fmt: skip
    head = (_("Chamber"), _("From"), _("Through"), _("What is missing"))
    table = Table(_("Days and weeks without a record that was owed"), head, rows[:MOST], (24, 18, 18, 40), _("None."))
    return Section(_("Gaps"), _("A record was owed and is not there."), len(rows), (table,), notes=_more(len(rows)))


def _more(count: int, shown: int = MOST, where: str = "") -> tuple[str, ...]:
    """Return that not all stand here, and where the others do: nothing named, in the volumes of the months."""
    if count <= shown:
        return ()
    words = _("The first %(shown)d of %(count)d stand here; the others stand in %(where)s.")
    return (words % {"shown": shown, "count": count, "where": where or _("the volumes of the months")},)


def _waivers(frame: Frame) -> Section:
    section = runs.waivers(frame, MOST)
    count = len(runs.waivers_of(frame))
    return replace(section, count=count, notes=_more(count))


def _late(frame: Frame) -> Section:
    rows = changes.late_about(frame)
    count = rows.count()
    table = changes.table(frame, rows, _("Late entries"))
    return Section(
        _("Late entries"),
        _("Recorded later after it happened than the house rule lets pass."),
        count,
        (table,),
        notes=_more(
            count,
            table.told_by(),
            _("the volumes of the months, and those recorded after these days in data/events.jsonl"),
        ),
    )


def _corrections(frame: Frame) -> Section:
    rows = (changes.corrected(frame) | changes.voided(frame)).distinct()
    count = rows.count()
    table = changes.table(frame, rows, _("Corrections, and what no longer counts"))
    return Section(
        _("Corrections"),
        _("What was recorded first stays on record, each with the reason."),
        count,
        (table,),
        notes=_more(count, table.told_by()),
    )


def _outside(frame: Frame) -> Section:
    rows = [one for one in runs.runs_of(frame) if one.outside_house_rules]
    numbers = frame.numbers(Run, (one.pk for one in rows))
    cells = tuple(
        (Cell(runs.name_of(one)), Cell(frame.at(one.started_at)), Cell(one.plan.name), Cell(one.supervisor), Cell(numbers.of(one.pk), figure=True))
        for one in rows[:MOST]
    )  # fmt: skip
    head = (_("Run"), _("Left surface"), _("Table"), _("Supervisor"), _("Record"))
    table = Table(_("Runs outside the house rules"), head, cells, (16, 22, 26, 24, 12), _("None."))
    return Section(_("Runs outside the house rules"), "", len(rows), (table,), notes=_more(len(rows)))


def _defects(frame: Frame) -> Section:
    rows = plant.defects_open(frame)
    numbers = frame.numbers(Defect, (one.pk for one in rows))
    cells = tuple(
        (
            Cell(f"{one.number:04d}", sub=str(one.equipment.tag if one.equipment else one.bank)), Cell(frame.at(one.found_at)),
            Cell(one.what), Cell(str(one.get_effect_display())), Cell(frame.day(one.expected_back)), Cell(numbers.of(one.pk), figure=True),
        )
        for one in rows
    )  # fmt: skip
    head = (_("Tag"), _("Found"), _("What is wrong"), _("Effect"), _("Expected back"), _("Record"))
    table = Table(_("Open defects"), head, cells, (12, 18, 32, 14, 14, 10), _("None."))
    return Section(_("Open defects"), _("Open on the day this report was made."), len(rows), (table,))


def _overdue(frame: Frame, states: Sequence[DueState]) -> Section:
    late = [one for one in states if one.word in plant.NOT_IN_DATE]
    numbers = frame.numbers(IntervalRule, (one.rule for one in late))
    rows = [
        (Cell(one.tag, sub=one.item), Cell(one.act), plant.state_cell(one), Cell(frame.day(one.good_through)), Cell(numbers.of(one.rule), figure=True))
        for one in late
    ] + gas.untested(frame)  # fmt: skip
    head = (_("Item"), _("Act"), _("State"), _("Was good through"), _("Rule or record"))
    table = Table(_("Overdue, never recorded or in doubt"), head, tuple(rows[:MOST]), (28, 28, 16, 15, 13), _("None."))
    notes = _more(len(rows), where=_("the volume on the plant"))
    return Section(_("Overdue items"), _("On the day this report was made."), len(rows), (table,), notes=notes)


def _deviations(frame: Frame) -> Section:
    table = rules.deviating(frame)
    return Section(
        _("Deviations from codes"),
        _("A house rule differs from the clause that it was adopted from."),
        len(table.rows),
        (table,),
    )


def _memory(frame: Frame) -> Section:
    table = rules.from_memory(frame)
    lead = _(
        "Nobody has read these numbers at a source yet, or there is none. They are shown as unconfirmed wherever they are used."
    )
    return Section(_("Numbers from memory"), lead, len(table.rows), (table,))


def following(listed: Sequence[Listed], left_out: str = "") -> Section:
    """Return the list of the other volumes, each with its digest, and which took the place of an earlier one."""
    cells = tuple(
        (
            Cell(one.title, sub=f"{one.name}.pdf"),
            Cell(str(one.pages), figure=True),
            Cell(in_groups(one.sha256), sub=one.instead, fine=True),
        )
        for one in listed
    )
    head = (_("Volume"), _("Pages"), _("SHA-256 of the file"))
    lead = _(
        "A month that was changed by a late entry, a correction or a countersignature has a new volume, and so has every month after the program that sets the pages was changed; which one it replaces stands beside it."
    )
    table = Table(_("The other volumes"), head, cells, (27, 8, 65), _("None."))
    return Section(_("What follows"), lead, tables=(table,), notes=(left_out,) if left_out else ())
