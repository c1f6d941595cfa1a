"""What a report says of rules: procedures, house rules, sheets and plans in force, and the map from clause to evidence."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from facility import house
from facility.models import HouseRule, Procedure, SheetVersion
from facility.reference import house_rule_definitions
from facility.report.plant import newest_work, rules_in_scope, state_cell
from facility.report.shape import Cell, Section, Table
from maintenance.models import IntervalRule, Standing, WorkRecord
from maintenance.reference import requirements
from maintenance.upkeep.adopting import deviations, source_words, title_in
from maintenance.upkeep.offers import offer_of
from maintenance.upkeep.words import interval_words
from treatments.models import Plan

if TYPE_CHECKING:
    from collections.abc import Iterable

    from facility.report.scope import Frame
    from maintenance.upkeep.state import DueState


def in_force(frame: Frame) -> Section:
    """Return procedures, house rules, sheets and plans in force at the end of the days, each with its version."""
    tables = (_procedures(frame), _sheets(frame), _plans(frame), _house(frame))
    return Section(
        _("Procedures and house rules in force"), _("As they stood on the day of this report, each with who approved it."),
        tables=tables,
    )  # fmt: skip


def _procedures(frame: Frame) -> Table:
    rows = list(Procedure.objects.filter(site=frame.site, retired_at=None).order_by("key", "-version"))
    numbers = frame.numbers(Procedure, (one.pk for one in rows))
    cells = tuple(
        (Cell(one.title), Cell(str(one.version), figure=True), Cell(frame.day(one.in_force_from)), Cell(one.approved_by),
         Cell(numbers.of(one.pk), figure=True))
        for one in rows
    )  # fmt: skip
    head = (_("Procedure"), _("Version"), _("In force from"), _("Approved by"), _("Record"))
    return Table(_("Procedures"), head, cells, (36, 10, 18, 24, 12), _("None is on record."))


def _sheets(frame: Frame) -> Table:
    rows = SheetVersion.objects.filter(sheet__chamber__site=frame.site, retired_at=None, sheet__retired_at=None)
    found = list(rows.filter(**frame.of_chamber("sheet__chamber")).select_related("sheet").order_by("sheet__key"))
    numbers = frame.numbers(SheetVersion, (one.pk for one in found))
    cells = tuple(
        (Cell(one.sheet.title, sub=str(one.sheet.get_occasion_display())), Cell(str(one.version), figure=True),
         Cell(frame.day(one.in_force_from)), Cell(one.approved_by), Cell(numbers.of(one.pk), figure=True))
        for one in found
    )  # fmt: skip
    head = (_("Check sheet"), _("Version"), _("In force from"), _("Approved by"), _("Record"))
    return Table(_("Check sheets"), head, cells, (36, 10, 18, 24, 12), _("None is on record."))


def _plans(frame: Frame) -> Table:
    rows = Plan.objects.filter(chamber__site=frame.site, retired_at=None).filter(**frame.of_chamber("chamber"))
    found = list(rows.order_by("place", "key"))
    numbers = frame.numbers(Plan, (one.pk for one in found))
    cells = tuple(
        (Cell(one.name, sub=one.party), Cell(str(one.version), figure=True), Cell(frame.day(one.in_force_from)),
         Cell(one.approved_by), Cell(numbers.of(one.pk), figure=True))
        for one in found
    )  # fmt: skip
    head = (_("Plan of a run"), _("Version"), _("In force from"), _("Approved by"), _("Record"))
    return Table(_("Plans"), head, cells, (36, 10, 18, 24, 12), _("None is on record."))


def _house(frame: Frame) -> Table:
    set_here = {one.key: one for one in HouseRule.objects.filter(site=frame.site, retired_at=None)}
    numbers = frame.numbers(HouseRule, (one.pk for one in set_here.values()))
    cells = []
    for key, rule in house_rule_definitions().items():
        row = set_here.get(key)
        value = rule.number if row is None else row.value
        cells.append(
            (
                Cell(rule.meaning), Cell(house.told(rule, value), strong=row is not None),
                Cell(_("as shipped") if row is None else frame.day(row.in_force_from)), Cell(row.approved_by if row else ""),
                Cell(numbers.of(row.pk) if row else "\u2013", figure=True),
            )
        )  # fmt: skip
    head = (_("House rule"), _("Value"), _("In force from"), _("Approved by"), _("Record"))
    return Table(_("House rules"), head, tuple(cells), (42, 16, 14, 17, 11))


def clause_map(frame: Frame, states: Iterable[DueState]) -> Section:
    """Return for each adopted clause of a code the site's rule, its evidence and its state."""
    by_rule = {one.rule: one for one in states}
    adopted = [one for one in rules_in_scope(frame) if (one.requirement or frame.scope.source) and one.pk in by_rule]
    numbers = frame.numbers(IntervalRule, (one.pk for one in adopted))
    newest = newest_work(frame)
    evidence = frame.numbers(WorkRecord, (newest[one.pk][0] for one in adopted if one.pk in newest))
    rows = []
    for one in sorted(adopted, key=lambda row: (row.source, row.equipment.tag)):
        state = by_rule[one.pk]
        rows.append(
            (
                Cell(one.source), Cell(f"{one.equipment.tag}: {one.name}", sub=_("evidence: %(what)s") % {"what": one.evidence_asked} if one.evidence_asked else ""),
                Cell(frame.day(state.done_on) if state.done_on else _("none on record"), sub=evidence.of(newest[one.pk][0]) if one.pk in newest else ""),
                state_cell(state), Cell(numbers.of(one.pk), figure=True),
            )
        )  # fmt: skip
    head = (_("Clause"), _("Rule here"), _("Newest evidence"), _("State"), _("Rule"))
    lead = ngettext(
        "%(n)d rule here was adopted from a clause.", "%(n)d rules here were adopted from clauses.", len(adopted)
    ) % {"n": len(adopted)}
    if frame.scope.source:
        lead = ngettext("%(n)d rule here names this code.", "%(n)d rules here name this code.", len(adopted))
        lead %= {"n": len(adopted)}
    lead += " " + _(
        "A row says what is on record. Whether that satisfies the clause is for those who enforce it to say."
    )
    nothing = Table(_("From clause to evidence"), head, (), (24, 40, 14, 12, 10), _("No clause was adopted yet."))
    return Section(_("Clause map"), lead, tables=_by_code(rows, nothing))


def not_adopted(frame: Frame) -> Section:
    """Return the clauses in the app's book that no rule of the site was adopted from."""
    adopted = {one.requirement for one in rules_in_scope(frame)}
    offers = [offer_of(one) for one in requirements() if one.key not in adopted]
    rows = [
        (Cell(one.source), Cell(one.rule.what), Cell(one.interval), Cell(str(Standing(str(one.rule.standing)).label)))
        for one in sorted(offers, key=lambda offer: offer.source) if one.source.startswith(frame.scope.source)
    ]  # fmt: skip
    head = (_("Clause"), _("What it asks"), _("How often"), _("Standing"))
    nothing = Table(_("Clauses left"), head, (), (24, 40, 24, 12), _("None is left."))
    lead = _(
        "Clauses in the app's book that no rule here was adopted from. Whether one of them binds this facility is for it and its authorities to say."
    )
    return Section(_("Clauses not adopted"), lead, tables=_by_code(rows, nothing))


def _by_code(rows: Iterable[tuple[Cell, ...]], nothing: Table) -> tuple[Table, ...]:
    """Return rows that begin with their source as a table for each code, in which only the place in the code is left of it."""
    found: dict[str, list[tuple[Cell, ...]]] = defaultdict(list)
    for source, *cells in rows:
        code, place = code_and_place(source.text)
        found[code].append((Cell(place), *cells))
    return tuple(replace(nothing, caption=code, rows=tuple(told)) for code, told in found.items()) or (nothing,)


def code_and_place(source: str) -> tuple[str, str]:
    """Return the title of the code that a source names, and the place in it; a source of no code in the app's book stays whole."""
    title = title_in(source)
    place = source[len(title) :].lstrip(", ")
    return (title, place or source) if title else (_("Other sources"), source)


def deviating(frame: Frame) -> Table:
    """Return where a rule of the house differs from the code that it was adopted from."""
    rows = [(one, found) for one in rules_in_scope(frame) if (found := deviations(one))]
    numbers = frame.numbers(IntervalRule, (one.pk for one, _found in rows))
    cells = tuple(
        (
            Cell(one.equipment.tag, sub=one.name), Cell("; ".join(part.words for part in found)), Cell(source_words(one.source)),
            Cell(one.house_reason or _("no reason given"), sub=one.approved_by), Cell(numbers.of(one.pk), figure=True),
        )
        for one, found in rows
    )  # fmt: skip
    head = (_("Item"), _("Difference"), _("Clause"), _("Reason, approved by"), _("Record"))
    return Table(_("Where a house rule differs from a code"), head, cells, (18, 26, 24, 21, 11), _("None."))


def from_memory(frame: Frame) -> Table:
    """Return the rules in use whose number nobody has read at its source yet."""
    rows = [one for one in rules_in_scope(frame) if one.standing == Standing.MEMORY]
    numbers = frame.numbers(IntervalRule, (one.pk for one in rows))
    cells = tuple(
        (
            Cell(one.equipment.tag, sub=one.equipment.name), Cell(one.name, sub=interval_words(one)),
            Cell(source_words(one.source)), Cell(numbers.of(one.pk), figure=True),
        )
        for one in rows
    )  # fmt: skip
    head = (_("Item"), _("Act, and how often"), _("Said to come from"), _("Record"))
    return Table(_("Numbers from memory in use"), head, cells, (26, 28, 34, 12), _("None."))
