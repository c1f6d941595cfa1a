"""The history of one item as a paper: what it is, what is asked of it, and each act since its first record.

Nothing is left out: what was corrected or made void stands there too and says so. The number of queries does not grow.
"""

from __future__ import annotations

from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from facility.counted import counted
from facility.fields import day_text
from facility.report.drawing import address_of
from facility.report.plant import state_cell
from facility.report.scope import Frame, Scope
from facility.report.shape import Cell, Picture, Section, Table
from facility.small_papers.item_rows import ItemRows, rows_of
from facility.small_papers.item_troubles import NONE, corrections, defects, files, gone, outside, restricted
from facility.small_papers.making import Paper
from maintenance.calibrating.history import drift_of
from maintenance.calibrating.page import words_of
from maintenance.calibrating.plot import PAPER
from maintenance.calibrating.plot_drift import drift_svg
from maintenance.planning.item_view import standing_of
from maintenance.upkeep.adopting import deviations
from maintenance.upkeep.state import due_states_of
from maintenance.upkeep.words import interval_words

if TYPE_CHECKING:
    from facility.small_papers.making import Print
    from maintenance.models import Equipment, IntervalRule, WorkRecord
    from maintenance.upkeep.state import DueState


def history_paper(item: Equipment, printed: Print) -> Paper:
    """Return the history of an item from its first record to the instant of the print."""
    frame = frame_of(item, printed)
    rows = rows_of(item, frame)
    sections = (
        _identity(item, rows, frame), _rules(item, rows, frame), _acts(rows, frame), _compared(item, rows, frame),
        outside(rows, frame), defects(rows, frame), restricted(rows, frame), corrections(rows, frame), files(rows),
    )  # fmt: skip
    return Paper(
        f"history-{item.site.key}-{item.tag}".replace("/", "-"), _("History of %(tag)s") % {"tag": item.tag},
        _("item %(number)d, %(events)s") % {"number": item.pk, "events": counted(len(rows.events), "event", "events")},
        tuple(one for one in sections if one is not None),
        lead=_("Every record of this item that the box holds, the oldest first; the first was entered on %(first)s and may tell of older days. What was corrected or made void stands here too and says so; what was never recorded does not.")
        % {"first": frame.day(rows.first_at)},
        plate=((_("Item"), item.tag), (_("Name"), item.name)),
    )  # fmt: skip


def frame_of(item: Equipment, printed: Print) -> Frame:
    """Return the frame in which an item's papers are told: its site's clock."""
    today = printed.at.astimezone(ZoneInfo(item.site.zone)).date()
    return Frame(Scope(item.site, None, today, today), today, today, today)


def _identity(item: Equipment, rows: ItemRows, frame: Frame) -> Section:
    states = due_states_of([item.pk], item.site, frame.today)
    open_ones = [one for one in rows.defects if one.is_current and one.returned_at is None]
    standing = standing_of(states, open_ones)
    place = ", ".join(
        part
        for part in (item.chamber.name if item.chamber else "", item.lock.name if item.lock else "", item.place)
        if part
    )
    facts = [
        (_("Tag"), item.tag), (_("Name"), item.name), (_("Sort"), str(item.get_kind_display())), (_("Place"), place or NONE),
        (_("Maker"), item.maker or _("not on record")), (_("Serial number"), item.serial or _("not on record")),
        (_("For"), item.purpose or NONE), (_("In service since"), frame.day(item.in_service_on)),
        (_("Service life ends"), frame.day(item.life_ends_on)),
        (_("Stands on the day of the print"), f"{standing.word}, {standing.why}" if standing.why else standing.word),
        (_("First recorded"), f"{frame.at(rows.first_at)}, {rows.event_of(item)}"),
    ]  # fmt: skip
    if not item.is_current:
        facts.append((_("Taken out of the records"), f"{frame.at(item.retired_at)}: {item.retired_reason}"))
    return Section(_("What it is"), facts=tuple(facts))


def _rules(item: Equipment, rows: ItemRows, frame: Frame) -> Section:
    states = {one.rule: one for one in due_states_of([item.pk], item.site, frame.today)}
    cells = []
    for one in rows.rules:
        state = states.get(one.pk)
        due = frame.day(state.good_through) if state else NONE
        cells.append(
            (
                Cell(one.name, sub=_house(one)), Cell(interval_words(one)),
                Cell(one.source or NONE, sub=str(one.get_standing_display())),
                Cell(_(str(state.word)) if state else _("no longer in force"), sub=_through(state, due) if state else ""),
                Cell(rows.event_of(one), figure=True),
            )
        )  # fmt: skip
    head = (_("Act"), _("How often"), _("Where it comes from"), _("State on the day of the print"), _("Record"))
    return Section(
        _("What is asked of it"),
        tables=(Table(_("Each act that is asked for"), head, tuple(cells), (22, 20, 28, 19, 11), _("No rule was ever adopted: nothing makes it fall due.")),),
    )  # fmt: skip


def _through(state: DueState, day: str) -> str:
    """Return the last good day of a rule, and what happened to the item where that made it due."""
    words, why = _("good through %(day)s") % {"day": day}, state_cell(state).sub
    return f"{words}; {why}" if why else words


def _house(rule: IntervalRule) -> str:
    """Say where the house differs from the clause that a rule was adopted from."""
    found = "; ".join(one.words for one in deviations(rule))
    if not found:
        return ""
    reason = _("reason: %(why)s") % {"why": rule.house_reason or _("no reason given")}
    return f"{found}; {reason}" + (f" ({rule.approved_by})" if rule.approved_by else "")


def _acts(rows: ItemRows, frame: Frame) -> Section:
    void = sum(1 for one in rows.work if not one.is_current)
    failed = sum(1 for one in rows.work if one.is_current and one.result != "passed")
    cells = [(one.done_on, _act(one, rows, frame)) for one in rows.work]
    cells += [
        (one.happened_on, (Cell(frame.day(one.happened_on)), Cell(str(one.get_kind_display()), sub=one.note), Cell(gone(_("it happened"), one.is_current)),
                           Cell(one.reported_by), Cell(rows.event_of(one), figure=True)))
        for one in rows.happenings
    ]  # fmt: skip
    cells += [
        (one.looked_on, (Cell(frame.day(one.looked_on)), Cell(_("%(act)s: look that puts it off") % {"act": one.rule.name}, sub=one.why),
                         Cell(gone(_("no damage") if one.no_damage else _("damage"), one.is_current)),
                         Cell(one.looked_by, sub=_("approved by %(name)s") % {"name": one.approved_by}), Cell(rows.event_of(one), figure=True)))
        for one in rows.looks
    ]  # fmt: skip
    ordered = tuple(row for _day, row in sorted(cells, key=lambda pair: pair[0]))
    lead = ngettext("%(count)d record of work", "%(count)d records of work", len(rows.work)) % {"count": len(rows.work)}
    lead += _(", %(failed)d of those that count not passed, %(gone)d corrected or void.") % {
        "failed": failed,
        "gone": void,
    }
    head = (_("Day"), _("What was done"), _("Result"), _("By"), _("Record"))
    return Section(
        _("What was done and what happened"),
        lead,
        tables=(
            Table(
                _("Each act and event, corrected ones too"),
                head,
                ordered,
                (13, 41, 16, 18, 12),
                _("Nothing is on record."),
            ),
        ),
    )


def _act(one: WorkRecord, rows: ItemRows, frame: Frame) -> tuple[Cell, ...]:
    name = one.rule.name if one.rule else str(one.get_kind_display())
    own = _("good until %(day)s by its certificate") % {"day": day_text(one.due_on)} if one.due_on else ""
    about = "; ".join(part for part in (one.note, own, _waits(one)) if part)
    day = f"{one.done_on:%m/%Y}" if one.month_only else frame.day(one.done_on)
    witness = _("witness %(name)s") % {"name": one.witness} if one.witness else ""
    words = gone(str(one.get_result_display()), one.is_current)
    return (
        Cell(day), Cell(name, sub=about), Cell(words, strong=one.result != "passed" and one.is_current),
        Cell(one.done_by, sub=witness), Cell(rows.event_of(one), figure=True),
    )  # fmt: skip


def _waits(one: WorkRecord) -> str:
    if one.doubted_by_id:
        return _("in doubt since a recall")
    if one.needs_second_look and one.second_look_at is None:
        return _("waits for a second look: it does not count yet")
    return ""


def _compared(item: Equipment, rows: ItemRows, frame: Frame) -> Section | None:
    if not rows.calibrations:
        return None
    cells = tuple(
        (
            Cell(frame.day(one.done_on)),
            Cell(f"{one.certificate.reference.name}, {one.certificate.number}" if one.certificate else _("laboratory: %(name)s") % {"name": one.laboratory}),
            Cell(_error(one.computed.get("as_found") or {}, one.unit), figure=True),
            Cell(words_of(one) if one.is_current else _("superseded"), sub=one.note), Cell(one.done_by),
            Cell(rows.event_of(one), figure=True),
        )
        for one in rows.calibrations
    )  # fmt: skip
    head = (_("Day"), _("Against"), _("Largest error"), _("Stands"), _("By"), _("Record"))
    drift = drift_of(item)
    pictures: tuple[Picture, ...] = ()
    if drift is not None and drift.used:
        words = _("Largest errors of %(tag)s over the years, with their uncertainty and the limits.") % {
            "tag": item.tag
        }
        pictures = (
            Picture(
                address_of(drift_svg(drift, palette=PAPER)),
                words,
                _("%(used)s. The line is a straight one through them; it foretells nothing that moves in steps.")
                % {"used": counted(len(drift.used), "comparison that counts", "comparisons that count")},
            ),
        )
    lead = _("Comparisons made in the house are named as such; they are no certificate of an accredited laboratory.")
    return Section(
        _("Comparisons"), lead, pictures=pictures,
        tables=(Table(_("Each comparison"), head, cells, (12, 29, 13, 20, 14, 12), ""),),
    )  # fmt: skip


def _error(run: dict[str, str], unit: str) -> str:
    error = run.get("largest_error", "")
    return f"{error} {unit}" if error else NONE
