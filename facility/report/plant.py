"""What a report says of the plant: each area as it stands, and what was done, compared, raised and returned in a month."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from facility.counted import counted
from facility.report.areas import GAS, PLANT
from facility.report.drawing import address_of
from facility.report.gas import cylinders
from facility.report.shape import Cell, Picture, Section, Table
from maintenance.calibrating.page import parts_of, words_of
from maintenance.calibrating.plot import PAPER
from maintenance.compute.due import Cause
from maintenance.models import Calibration, Defect, Equipment, IntervalRule, WorkRecord, WorkResult
from maintenance.upkeep.adopting import source_words
from maintenance.upkeep.state import Word, due_states
from maintenance.upkeep.words import cause_text, interval_words

if TYPE_CHECKING:
    from collections.abc import Iterable

    from facility.report.scope import Frame
    from maintenance.upkeep.state import DueState

NOT_IN_DATE = frozenset({Word.OVERDUE, Word.NEVER, Word.SECOND_LOOK, Word.IN_DOUBT})


def word_of(word: Word) -> str:
    """Return the state of a rule in the reader's language."""
    return _(str(word))


def of_scope(frame: Frame, path: str = "equipment", rule: str = "") -> Q:
    """Return what is about an item of the site: of the areas and, where the scope has one, of its chamber or of none.

    Where the scope is about rules of one source: what is about an item that they ask something of, or, if ``rule`` is
    the way to a rule, what was done under one of them.
    """
    found = Q(**{f"{path}__site": frame.site})
    if frame.scope.source:
        named = IntervalRule.objects.filter(equipment__site=frame.site, source__startswith=frame.scope.source)
        found &= Q(**{f"{rule}__in": named}) if rule else Q(**{f"{path}__in": named.values("equipment")})
    if frame.scope.areas:
        found &= Q(**{f"{path}__kind__in": frame.scope.kinds})
    return found & frame.of_chamber_or_none(f"{path}__chamber")


def states_of(frame: Frame) -> list[DueState]:
    """Return the state of every rule in scope, on the day the report is made."""
    items = Equipment.objects.current().filter(frame.of_chamber_or_none("chamber"), site=frame.site)
    wanted, kinds = set(items.values_list("pk", flat=True)), set(frame.scope.kinds)
    return [
        one for one in due_states(frame.site, frame.today)
        if one.equipment in wanted and one.kind in kinds and one.source.startswith(frame.scope.source)
    ]  # fmt: skip


def standing(frame: Frame, states: Iterable[DueState]) -> list[Section]:
    """Return a section for each area: its items, each act with its interval, newest record and state."""
    by_kind: dict[str, list[DueState]] = defaultdict(list)
    for one in states:
        by_kind[one.kind].append(one)
    newest = newest_work(frame)
    rules = {one.pk: one for one in rules_in_scope(frame)}
    return [
        _with_cylinders(
            frame, area, _area(frame, _(title), [one for kind in kinds for one in by_kind[str(kind)]], newest, rules)
        )
        for area, (title, kinds) in PLANT.items()
        if frame.scope.has(area) and not (frame.scope.source and not any(by_kind[str(kind)] for kind in kinds))
    ]


def _with_cylinders(frame: Frame, area: str, section: Section) -> Section:
    """Return the area of gas with the cylinders of its banks: no rule asks for their tests, the stamp on each does."""
    table = cylinders(frame)
    return replace(section, tables=(*section.tables, table)) if area == GAS and table.rows else section


def newest_work(frame: Frame) -> dict[int, tuple[int, str]]:
    """Return the newest passed record of work of each rule, as its number and who did it."""
    rows = WorkRecord.objects.filter(of_scope(frame), rule__isnull=False, retired_at=None, result=WorkResult.PASSED)
    ordered = rows.order_by("rule_id", "done_on", "pk").values_list("rule_id", "pk", "done_by")
    return {rule: (pk, done_by) for rule, pk, done_by in ordered}


def state_cell(state: DueState) -> Cell:
    """Return the state of a rule, with what made it due where that is something that happened to the item."""
    cause = cause_text(state.cause, state.first.event) if state.first and state.cause is Cause.EVENT else ""
    sub = _("since: %(what)s") % {"what": cause} if cause else ""
    return Cell(word_of(state.word), sub=sub, strong=state.word in NOT_IN_DATE)


def _asked(state: DueState, rule: IntervalRule | None) -> Cell:
    """Return an act with how often it is asked for and where that comes from."""
    parts = (interval_words(rule) if rule else "", source_words(state.source))
    return Cell(state.act, sub=" \u00b7 ".join(part for part in parts if part))


def _area(
    frame: Frame, title: str, states: list[DueState], newest: dict[int, tuple[int, str]], rules: dict[int, IntervalRule]
) -> Section:
    states = sorted(states, key=lambda one: (one.tag, one.act))
    bad = sum(1 for one in states if one.word in NOT_IN_DATE)
    items = len({one.equipment for one in states})
    lead = _("%(items)s, %(acts)s; overdue, never recorded or in doubt: %(bad)d.") % {
        "items": counted(items, "item", "items"),
        "acts": counted(len(states), "act", "acts"),
        "bad": bad,
    }
    numbers = frame.numbers(WorkRecord, (newest[one.rule][0] for one in states if one.rule in newest))
    of_rules = frame.numbers(IntervalRule, (one.rule for one in states))
    rows, last = [], 0
    for one in states:
        pk, done_by = newest.get(one.rule, (None, ""))
        said = one.item if one.equipment != last else ""
        last = one.equipment
        rows.append(
            (
                Cell(one.tag, sub=said), _asked(one, rules.get(one.rule)),
                Cell(frame.day(one.done_on), sub=done_by), Cell(frame.day(one.good_through), sub=_("by present use") if one.projected else ""), state_cell(one),
                Cell(numbers.of(pk) if pk else _("none"), sub="" if pk else _("rule: %(record)s") % {"record": of_rules.of(one.rule)}, figure=True),
            )
        )  # fmt: skip
    head = (
        _("Item"),
        _("Act, how often, and where that comes from"),
        _("Last done, by"),
        _("Good through"),
        _("State"),
        _("Record"),
    )
    table = Table(
        _("Each act that is asked for"), head, tuple(rows), (20, 34, 14, 11, 11, 10), _("Nothing is asked for here.")
    )
    return Section(title, lead, tables=(table,))


def work_done(frame: Frame) -> Section:
    """Return what was done on the plant within the days."""
    rows = WorkRecord.objects.filter(of_scope(frame, rule="rule"), **frame.days("done_on"))
    found = list(rows.select_related("equipment", "rule").order_by("done_on", "pk"))
    numbers = frame.numbers(WorkRecord, (one.pk for one in found))
    failed = sum(1 for one in found if one.result != WorkResult.PASSED)
    gone = sum(1 for one in found if not one.is_current)
    lead = _("Records of work: %(count)d; not passed: %(failed)d; corrected or void: %(gone)d.") % {
        "count": len(found), "failed": failed, "gone": gone}  # fmt: skip
    head = (_("Day"), _("Item"), _("What was done"), _("Result"), _("By"), _("Record"))
    cells = tuple(
        (
            Cell(frame.day(one.done_on)), Cell(one.equipment.tag, sub=one.equipment.name),
            Cell(one.rule.name if one.rule else str(one.get_kind_display()), sub=one.note),
            Cell(_result(one), strong=one.result != WorkResult.PASSED), Cell(one.done_by, sub=_witness(one.witness)),
            Cell(numbers.of(one.pk), figure=True),
        )
        for one in found
    )  # fmt: skip
    return Section(
        _("Work on the plant"),
        lead,
        tables=(Table(_("Each record of work"), head, cells, (12, 20, 34, 10, 14, 10), _("None.")),),
    )


def _result(one: WorkRecord) -> str:
    words = str(one.get_result_display())
    return words if one.is_current else _("%(result)s; no longer counts") % {"result": words}


def _witness(name: str) -> str:
    return _("witness %(name)s") % {"name": name} if name else ""


def comparisons(frame: Frame) -> Section:
    """Return the comparisons of the days: each with its verdict, and the plot of its errors."""
    rows = Calibration.objects.filter(of_scope(frame, rule="work__rule"), **frame.days("done_on"))
    found = list(rows.select_related("equipment", "work", "certificate__reference").order_by("done_on", "pk"))
    numbers = frame.numbers(Calibration, (one.pk for one in found))
    pictures = [picture for one in found for picture in _plots(frame, one, numbers.of(one.pk))]
    head = (_("Day"), _("Instrument"), _("Against"), _("Stands"), _("By"), _("Record"))
    cells = tuple(
        (
            Cell(frame.day(one.done_on)), Cell(one.equipment.tag, sub=one.equipment.name),
            Cell(_against(one)), Cell(words_of(one) if one.is_current else _("superseded")), Cell(one.done_by),
            Cell(numbers.of(one.pk), figure=True),
        )
        for one in found
    )  # fmt: skip
    lead = _("Comparisons made in the house are named as such; they are no certificate of an accredited laboratory.")
    if pictures:
        lead += " " + _(
            "In a plot: filled, read rising; open, read falling; a bar, the expanded uncertainty; thick, the limits; hatched, the guard band inside them."
        )
    table = Table(_("Each comparison"), head, cells, (12, 24, 24, 16, 14, 10), _("None."))
    return Section(_("Comparisons of gauges and analysers"), lead, tables=(table,), pictures=tuple(pictures))


def _against(row: Calibration) -> str:
    if row.certificate is None:
        return _("laboratory: %(name)s") % {"name": row.laboratory}
    return f"{row.certificate.reference.name}, {row.certificate.number}"


def _plots(frame: Frame, row: Calibration, record: str) -> Iterable[Picture]:
    for run in parts_of(row, PAPER)["runs"]:
        if run.wide:
            title = f"{row.equipment.tag}, {frame.day(row.done_on)}"
            way = _("as found") if run.name == "found" else _("as left")
            words = _("Errors of %(what)s, %(way)s: %(verdict)s.") % {"what": title, "way": way, "verdict": run.words}
            yield Picture(address_of(run.wide), words, f"{title}, {way}: {run.words} ({record})", half=True)


def defects_open(frame: Frame) -> list[Defect]:
    """Return the defects that have not been returned to service, newest first."""
    rows = Defect.objects.filter(_defective(frame), retired_at=None, returned_at=None)
    return list(rows.select_related("equipment", "bank").order_by("-found_at"))


def _defective(frame: Frame) -> Q:
    """Return the defects in scope: those of items, and where gas is told and no code asked for those of banks too."""
    found = of_scope(frame)
    if frame.scope.has(GAS) and not frame.scope.source:
        found |= Q(site=frame.site, equipment=None) & frame.of_chamber_or_none("bank__chamber")
    return found


def defects(frame: Frame) -> Section:
    """Return the defects found within the days, and those returned to service within them."""
    of_days = Q(**frame.within("found_at")) | Q(**frame.within("returned_at"))
    rows = (
        Defect.objects.filter(of_days, _defective(frame)).select_related("equipment", "bank").order_by("found_at", "pk")
    )
    found = list(rows)
    numbers = frame.numbers(Defect, (one.pk for one in found))
    head = (_("Tag"), _("Found"), _("What was wrong"), _("Effect"), _("Returned to service"), _("Record"))
    cells = tuple(
        (
            Cell(f"{one.number:04d}", sub=str(one.equipment.tag if one.equipment else one.bank)), Cell(frame.at(one.found_at)),
            Cell(one.what, sub="" if one.is_current else _("no longer counts: %(why)s") % {"why": one.retired_reason}),
            Cell(str(one.get_effect_display())),
            Cell(frame.at(one.returned_at) if one.returned_at and one.returned_at < frame.ends_at else _("not in these days"), sub=one.returned_by if one.returned_at and one.returned_at < frame.ends_at else ""),
            Cell(numbers.of(one.pk), figure=True),
        )
        for one in found
    )  # fmt: skip
    lead = ngettext("%(n)d defect found or returned.", "%(n)d defects found or returned.", len(found)) % {
        "n": len(found)
    }
    return Section(
        _("Defects and returns to service"),
        lead,
        tables=(Table(_("Each defect"), head, cells, (10, 16, 32, 12, 20, 10), _("None.")),),
    )


def rules_in_scope(frame: Frame) -> list[Any]:
    """Return the site's rules of upkeep that count, by item."""
    rows = IntervalRule.objects.current().filter(of_scope(frame), equipment__retired_at=None)
    rows = rows.filter(source__startswith=frame.scope.source)
    return list(rows.select_related("equipment", "counter").order_by("equipment__tag", "name"))
