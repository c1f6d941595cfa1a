"""What a report says of gas and air within a month: analyses, samples, deliveries."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from facility.report.areas import GAS
from facility.report.shape import Cell, Section, Table
from maintenance.models import Cylinder, CylinderAnalysis, DeliveredCylinder, GasSample
from maintenance.upkeep.words import plain

if TYPE_CHECKING:
    from facility.report.scope import Frame


def section(frame: Frame) -> Section:
    """Return the analyses, samples and deliveries of the days."""
    tables = (_analyses(frame), _samples(frame), _deliveries(frame))
    count = sum(len(table.rows) for table in tables)
    lead = ngettext("%(n)d record.", "%(n)d records.", count) % {"n": count}
    return Section(_("Gas and air"), lead, tables=tuple(table for table in tables if table.rows))


def cylinders(frame: Frame) -> Table:
    """Return the cylinders of the banks in scope as they stand, each with its pressure test."""
    found = _cylinders(frame)
    numbers = frame.numbers(Cylinder, (one.pk for one in found))
    cells = tuple(
        (
            Cell(one.mark, sub=one.bank.name), Cell(f"{plain(one.water_litres)} L", figure=True), Cell(frame.day(one.tested_on)),
            Cell(frame.day(one.test_due_on)), _tested(one, frame), Cell(numbers.of(one.pk), figure=True),
        )
        for one in found
    )  # fmt: skip
    head = (_("Cylinder"), _("Water capacity"), _("Last pressure test"), _("Good through"), _("State"), _("Record"))
    return Table(_("Cylinders and their pressure tests"), head, cells, (26, 17, 17, 14, 14, 12))


def untested(frame: Frame) -> list[tuple[Cell, ...]]:
    """Return the cylinders in scope whose pressure test is past its day or has none, as overdue items are told."""
    found = [one for one in _cylinders(frame) if one.test_due_on is None or one.test_due_on < frame.today]
    numbers = frame.numbers(Cylinder, (one.pk for one in found))
    return [
        (
            Cell(one.mark, sub=one.bank.name), Cell(_("pressure test of the cylinder")), _tested(one, frame),
            Cell(frame.day(one.test_due_on)), Cell(numbers.of(one.pk), figure=True),
        )
        for one in found
    ]  # fmt: skip


def _cylinders(frame: Frame) -> list[Cylinder]:
    if frame.scope.source or not frame.scope.has(GAS):
        return []
    rows = Cylinder.objects.current().filter(frame.of_chamber_or_none("bank__chamber"), bank__site=frame.site)
    return list(rows.filter(bank__retired_at=None).select_related("bank").order_by("bank__name", "mark"))


def _tested(one: Cylinder, frame: Frame) -> Cell:
    if one.test_due_on is None:
        return Cell(_("no day on record"), strong=True)
    late = one.test_due_on < frame.today
    return Cell(_("overdue") if late else _("in date"), strong=late)


def _analyses(frame: Frame) -> Table:
    rows = CylinderAnalysis.objects.filter(cylinder__bank__site=frame.site, **frame.within("analysed_at"))
    rows = rows.filter(frame.of_chamber_or_none("cylinder__bank__chamber"))
    found = list(rows.select_related("cylinder__bank", "analyser").order_by("analysed_at", "pk"))
    numbers = frame.numbers(CylinderAnalysis, (one.pk for one in found))
    cells = tuple(
        (
            Cell(one.cylinder.mark, sub=one.cylinder.bank.name), Cell(frame.at(one.analysed_at)),
            Cell("\u2013" if one.oxygen_percent is None else f"{one.oxygen_percent} %", figure=True),
            Cell(_stands(str(one.get_result_display()), doubted=one.doubted_by_id is not None, counts=one.is_current)),
            Cell(one.analysed_by, sub=one.analyser.tag if one.analyser else _("no analyser named")),
            Cell(numbers.of(one.pk), figure=True),
        )
        for one in found
    )  # fmt: skip
    head = (_("Cylinder"), _("Analysed"), _("Oxygen"), _("Result"), _("By, with"), _("Record"))
    return Table(_("Analyses of cylinders"), head, cells, (22, 18, 12, 16, 22, 10))


def _stands(words: str, *, doubted: bool, counts: bool) -> str:
    if not counts:
        return _("%(result)s; no longer counts") % {"result": words}
    return _("%(result)s; in doubt") % {"result": words} if doubted else words


def _samples(frame: Frame) -> Table:
    rows = GasSample.objects.filter(site=frame.site, **frame.within("taken_at"))
    found = list(rows.select_related("equipment", "bank").order_by("taken_at", "pk"))
    numbers = frame.numbers(GasSample, (one.pk for one in found))
    cells = tuple(
        (
            Cell(f"{one.gas}, {one.point}", sub=str(one.equipment or one.bank or "")), Cell(frame.at(one.taken_at)),
            Cell(_stands(_passed(one.passed), doubted=one.doubted_by_id is not None, counts=one.is_current),
                 sub=one.adopted_set),
            Cell(one.taken_by, sub=one.laboratory), Cell(numbers.of(one.pk), figure=True),
        )
        for one in found
    )  # fmt: skip
    head = (_("Gas, point"), _("Taken"), _("Against the adopted limits"), _("By, laboratory"), _("Record"))
    return Table(_("Samples of breathing gas"), head, cells, (28, 18, 22, 22, 10))


def _passed(passed: bool | None) -> str:  # noqa: FBT001  # None: nothing was judged
    return _("not judged") if passed is None else _("within limits") if passed else _("outside limits")


def _deliveries(frame: Frame) -> Table:
    rows = DeliveredCylinder.objects.filter(delivery__site=frame.site, **frame.within("delivery__received_at"))
    found = list(rows.select_related("delivery").order_by("delivery__received_at", "pk"))
    numbers = frame.numbers(DeliveredCylinder, (one.pk for one in found))
    cells = tuple(
        (
            Cell(one.mark), Cell(frame.at(one.delivery.received_at), sub=one.delivery.supplier), Cell(one.delivery.gas),
            Cell(str(one.get_state_display()), sub=one.refused_because), Cell(one.decided_by or one.delivery.received_by),
            Cell(numbers.of(one.pk), figure=True),
        )
        for one in found
    )  # fmt: skip
    head = (_("Mark"), _("Received, from"), _("Label"), _("State"), _("By"), _("Record"))
    return Table(_("Cylinders delivered"), head, cells, (16, 24, 10, 22, 18, 10))
