"""What went wrong with one item, for its history: readings outside limits, defects, restrictions, corrections; and its files."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from facility.report import changes
from facility.report.scope import event_word
from facility.report.shape import Cell, Section, Table

if TYPE_CHECKING:
    from datetime import datetime

    from facility.models import Event
    from facility.report.scope import Frame
    from facility.small_papers.item_rows import ItemRows

NONE = "\u2013"


def gone(words: str, current: bool) -> str:  # noqa: FBT001  # reads as a sentence where it is used
    """Return words of a row, saying so where it no longer counts."""
    return words if current else _("%(words)s; no longer counts") % {"words": words}


def outside(rows: ItemRows, frame: Frame) -> Section:
    """Return what was read outside its limits on a check or in a test, and what could not be read."""
    cells = tuple(
        (Cell(frame.at(one.at) if one.at else frame.day(one.on)), Cell(one.what, sub=one.note), Cell(one.value, figure=True), Cell(one.limits), Cell(one.record, figure=True))
        for one in rows.outside
    )  # fmt: skip
    head = (_("When"), _("What was read, and where"), _("Read"), _("Limits"), _("Record"))
    return Section(
        _("Readings outside limits, and what could not be read"),
        tables=(Table(_("Each reading"), head, cells, (17, 41, 14, 16, 12), _("None is on record.")),),
    )  # fmt: skip


def defects(rows: ItemRows, frame: Frame) -> Section:
    """Return each defect with its repairs and its return."""
    cells = tuple(
        (
            Cell(f"{one.number:04d}", sub=gone(str(one.get_effect_display()), one.is_current)), Cell(one.what, sub="; ".join(repair.what for repair in one.repairs.all() if repair.is_current)),
            Cell(frame.at(one.found_at)), _back(one.returned_at, one.returned_by, one.return_note, frame),
            Cell(rows.event_of(one), figure=True),
        )
        for one in rows.defects
    )  # fmt: skip
    head = (_("Tag, effect"), _("What was wrong, what was done"), _("Found"), _("Back in service"), _("Record"))
    return Section(
        _("Defects and returns"),
        tables=(Table(_("Each defect"), head, cells, (15, 32, 16, 26, 11), _("None is on record.")),),
    )


def _back(at: datetime | None, who: str, note: str, frame: Frame) -> Cell:
    return (
        Cell(_("not yet"), strong=True)
        if at is None
        else Cell(frame.at(at), sub=", ".join(part for part in (who, note) if part))
    )


def restricted(rows: ItemRows, frame: Frame) -> Section:
    """Return when it was restricted, and when a need that it serves was waived."""
    cells = [
        (Cell(_("restricted by defect %(number)04d") % {"number": one.number}, sub=one.what), Cell(frame.at(one.found_at)), Cell(frame.at(one.returned_at) if one.returned_at else _("still")),
         Cell(", ".join(one.plans) if one.plans else _("all plans that rest on it")), Cell(rows.event_of(one), figure=True))
        for one in rows.defects if one.effect == "limits" and one.is_current
    ]  # fmt: skip
    cells += [
        (Cell(_("waived: %(need)s") % {"need": one.need.name if one.need else ""}, sub=f"{one.why}; {one.counter_measure}"), Cell(frame.at(one.starts_at)), Cell(frame.at(one.retired_at or one.ends_at)),
         Cell(", ".join(one.plans) if one.plans else _("all plans that rest on it")), Cell(rows.event_of(one), figure=True))
        for one in rows.waivers
    ]  # fmt: skip
    head = (_("What"), _("From"), _("Until"), _("For"), _("Record"))
    return Section(
        _("Restrictions, and waivers of a need that it serves"),
        tables=(Table(_("Each restriction"), head, tuple(cells), (37, 16, 16, 19, 12), _("None is on record.")),),
    )  # fmt: skip


def corrections(rows: ItemRows, frame: Frame) -> Section:
    """Return every entry that changed what was recorded, and which came late."""
    found = [one for one in rows.events if is_correction(one)]
    cells = tuple(
        (Cell(event_word(one.seq), sub=frame.at(one.recorded_at)), Cell(changes.kind_words(one.subject_kind), sub=_(one.action)), Cell(one.reason or NONE), Cell(one.actor))
        for one in found
    )  # fmt: skip
    late = [one.seq for one in rows.events if one.late]
    note = (
        _("Entered late: %(events)s.") % {"events": ", ".join(event_word(seq) for seq in late)}
        if late
        else _("Nothing was entered late.")
    )
    head = (_("Entry, recorded"), _("Of what"), _("Reason given"), _("By"))
    return Section(
        _("Corrections, what no longer counts, and late entries"), notes=(note,),
        tables=(Table(_("Each of them"), head, cells, (21, 22, 39, 18), _("Nothing of it was corrected or made void.")),),
    )  # fmt: skip


def is_correction(event: Event) -> bool:
    """Return whether an event put something in the place of what was recorded, or took it back."""
    return any(word in event.action for word in (*changes.CORRECTED, *changes.VOIDED))


def files(rows: ItemRows) -> Section:
    """Return each file by its digest."""
    cells = tuple(
        (Cell(one.original_name, sub=one.media_type), Cell(where), Cell(_("%(bytes)d bytes") % {"bytes": one.size_bytes}, figure=True), Cell(one.sha256))
        for one, where in rows.files
    )  # fmt: skip
    head = (_("File"), _("Of what"), _("Size"), _("SHA-256 of the file"))
    return Section(
        _("Files"), tables=(Table(_("Each file"), head, cells, (22, 24, 14, 40), _("No file is on record.")),)
    )
