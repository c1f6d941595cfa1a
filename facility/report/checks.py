"""What a report says of checks: a calendar of days, what is missing, and each check that was not all within limits."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from django.db.models import Min
from django.utils.translation import gettext as _

from facility.counted import counted
from facility.models import Answer, Check, CheckResult, CheckState, Event, Occasion, Outcome, SheetVersion, ShutDown
from facility.report import gaps
from facility.report.calendars import calendars
from facility.report.gaps import Mark
from facility.report.scope import event_word
from facility.report.shape import Cell, Section, Table

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date

    from facility.report.scope import Frame

WORST = (Mark.OUTSIDE, Mark.LATE, Mark.PAPER, Mark.SIGNED)


@dataclass(frozen=True, slots=True)
class Missing:
    """Days or weeks of a chamber for which a record was owed."""

    chamber: str
    weekly: bool
    span: gaps.Span


@dataclass(frozen=True, slots=True)
class Checks:
    """The checks of the days of a frame, and what is missing among them."""

    rows: tuple[Check, ...]
    late: frozenset[int]
    missing: tuple[Missing, ...]
    calendars: tuple[tuple[str, dict[date, Mark]], ...]

    @property
    def signed(self) -> int:
        """How many were signed."""
        return sum(1 for one in self.rows if one.state == CheckState.SIGNED)


def checks_of(frame: Frame) -> Checks:
    """Return the checks that were begun within the days."""
    rows = Check.objects.filter(sheet__chamber__site=frame.site, **frame.within("started_at"))
    rows = rows.filter(**frame.of_chamber("sheet__chamber")).select_related("sheet__chamber", "version")
    found = tuple(rows.order_by("started_at", "pk"))
    late = _late(found)
    missing: list[Missing] = []
    calendars = []
    for chamber, marks, weekly in _by_chamber(frame, found, late):
        without = [day for day, mark in marks.items() if mark == Mark.GAP]
        missing += [Missing(chamber, False, span) for span in gaps.spans(without)]
        missing += [Missing(chamber, True, span) for span in weekly]
        calendars.append((chamber, marks))
    return Checks(found, late, tuple(missing), tuple(calendars))


def _late(checks: Iterable[Check]) -> frozenset[int]:
    """Return the checks that were entered in the app and of which something came late."""
    ids = {one.pk for one in checks if not one.on_paper}
    answers = Answer.objects.filter(check_done__in=ids, late=True).values_list("check_done_id", flat=True)
    return frozenset(answers.distinct())


def _by_chamber(
    frame: Frame, rows: Iterable[Check], late: frozenset[int]
) -> Iterable[tuple[str, dict[date, Mark], list[gaps.Span]]]:
    owed = _owed_from(frame)
    days = gaps.days_between(frame.from_day, frame.to_day)
    until = min(frame.to_day, frame.today - gaps.DAY)
    for chamber, name in _chambers(frame):
        closed = _closed(frame, chamber)
        told: dict[str, dict[date, list[Mark]]] = {
            Occasion.DAILY: defaultdict(list),
            Occasion.WEEKLY: defaultdict(list),
        }
        for one in rows:
            if one.sheet.chamber_id == chamber and one.state == CheckState.SIGNED and one.sheet.occasion in told:
                told[one.sheet.occasion][frame.local(one.started_at)].append(mark_of(one, late))
        daily = {day: min(marks, key=WORST.index) for day, marks in told[Occasion.DAILY].items()}
        begun = owed.get((chamber, Occasion.DAILY))
        marks = gaps.marks(days, daily, closed, begun or frame.today, until if begun else frame.from_day - gaps.DAY)
        weekly_from = owed.get((chamber, Occasion.WEEKLY))
        weekly = [] if weekly_from is None else gaps.weeks_without(
            told[Occasion.WEEKLY].keys(), max(frame.from_day, weekly_from), until, closed)  # fmt: skip
        yield name, marks, weekly


def mark_of(check: Check, late: frozenset[int]) -> Mark:
    """Return the mark of a signed check. What is outside its limits goes before what came late."""
    if check.result != CheckResult.PASSED:
        return Mark.OUTSIDE
    if check.on_paper:
        return Mark.PAPER
    return Mark.LATE if check.pk in late else Mark.SIGNED


def _chambers(frame: Frame) -> list[tuple[int, str]]:
    rows = frame.site.chambers.filter(retired_at=None)
    if frame.scope.chamber is not None:
        rows = rows.filter(pk=frame.scope.chamber.pk)
    return list(rows.order_by("key").values_list("pk", "name"))


def _owed_from(frame: Frame) -> dict[tuple[int, str], date]:
    """Return from which day a chamber owes a check of an occasion: the first day of its first sheet, or check, of that sort."""
    versions = SheetVersion.objects.filter(sheet__chamber__site=frame.site, sheet__retired_at=None)
    rows = versions.values_list("sheet__chamber_id", "sheet__occasion").annotate(Min("in_force_from")).order_by()
    first = Check.objects.filter(sheet__chamber__site=frame.site, sheet__retired_at=None)
    begun = first.values_list("sheet__chamber_id", "sheet__occasion").annotate(Min("started_at")).order_by()
    found: dict[tuple[int, str], date] = {}
    for chamber, occasion, at in [*rows, *begun]:
        found[chamber, occasion] = min(frame.local(at), found.get((chamber, occasion), frame.local(at)))
    return found


def _closed(frame: Frame, chamber: int) -> set[date]:
    """Return the days on which a chamber was shut on purpose."""
    rows = ShutDown.objects.filter(
        chamber=chamber, retired_at=None, starts_at__lt=frame.ends_at, ends_at__gt=frame.starts_at
    )
    found: set[date] = set()
    for starts_at, ends_at in rows.values_list("starts_at", "ends_at"):
        found.update(gaps.days_between(frame.local(starts_at), frame.local(ends_at - timedelta(seconds=1))))
    return found


def section(frame: Frame, found: Checks, *, paper: bool = True) -> Section:
    """Return the section of checks: the calendar and each check that says more than “all within limits”.

    ``paper``: also those that are within limits and were keyed in from paper.
    """
    outside = sum(1 for one in found.rows if one.state == CheckState.SIGNED and one.result != CheckResult.PASSED)
    lead = _("%(signed)s signed, %(outside)d of them not all within limits, %(late)d with something entered late, %(paper)d keyed in from paper; gaps: %(gaps)d.") % {
        "signed": counted(found.signed, "check", "checks"), "outside": outside, "late": len(found.late),
        "paper": sum(1 for one in found.rows if one.on_paper), "gaps": len(found.missing)}  # fmt: skip
    return Section(
        _("Checks, day by day"),
        lead,
        pictures=calendars(frame, found.calendars),
        tables=(exceptions(frame, found, paper=paper),),
    )


def exceptions(frame: Frame, found: Checks, *, paper: bool = True) -> Table:
    """Return the table of checks that were late, from paper, not all within limits, or never signed.

    Good ones from paper or entered late that follow on each other stand in one row.
    """
    good = {Mark.SIGNED} if paper else {Mark.SIGNED, Mark.PAPER}
    told = [one for one in found.rows if one.state != CheckState.SIGNED or mark_of(one, found.late) not in good]
    bad = _bad_steps(told)
    signed = _signed_events(told)
    numbers = frame.numbers(Check, (one.pk for one in told))
    rows = []
    for group in _groups(told, found.late):
        records = [signed.get(one.pk) or numbers.by_id.get(one.pk) for one in group]
        record = spanned([one for one in records if one is not None])
        rows.append(
            _row_of_one(frame, group[0], found, bad, record)
            if len(group) == 1
            else _row_of_many(frame, group, found, record)
        )
    head = (_("Begun"), _("Kind"), _("Sheet, and what was outside"), _("Who"), _("Record"))
    caption = _("Each check that is late, not all within limits, or not signed")
    if paper:
        caption = _("Each check that is late, from paper, not all within limits, or not signed")
    return Table(
        caption,
        head,
        tuple(rows),
        (17, 20, 34, 17, 12),
        _("None."),
    )


def spanned(records: list[int]) -> str:
    """Return the numbers of events in words: one, or the first and last of several."""
    if not records:
        return _("no event")
    if min(records) == max(records):
        return event_word(records[0])
    return _("events %(first)d to %(last)d") % {"first": min(records), "last": max(records)}


def _groups(told: Iterable[Check], late: frozenset[int]) -> list[list[Check]]:
    groups: list[list[Check]] = []
    for one in told:
        good = one.state == CheckState.SIGNED and one.result == CheckResult.PASSED
        before = groups[-1][-1] if groups else None
        alike = before is not None and before.sheet_id == one.sheet_id and before.state == one.state
        if (
            good
            and alike
            and before is not None
            and before.result == one.result
            and _kind(before, late) == _kind(one, late)
        ):
            groups[-1].append(one)
        else:
            groups.append([one])
    return groups


def _row_of_one(frame: Frame, one: Check, found: Checks, bad: dict[int, list[str]], record: str) -> tuple[Cell, ...]:
    return (
        Cell(frame.at(one.started_at)), Cell(_kind(one, found.late)), Cell(_sheet(one), sub="; ".join(bad[one.pk])),
        Cell(one.signed_by or one.started_by, sub=frame.at(one.signed_at) if one.signed_at else _("not signed")),
        Cell(record, figure=True),
    )  # fmt: skip


def _row_of_many(frame: Frame, group: list[Check], found: Checks, record: str) -> tuple[Cell, ...]:
    names = sorted({one.signed_by for one in group})
    words = _("%(count)d checks: %(sheet)s, %(first)d to %(last)d; all within limits") % {
        "count": len(group), "sheet": group[0].sheet.title, "first": group[0].number, "last": group[-1].number}  # fmt: skip
    return (
        Cell(frame.day(group[0].started_at), sub=_("to %(day)s") % {"day": frame.day(group[-1].started_at)}),
        Cell(_kind(group[0], found.late)), Cell(words), Cell(", ".join(names)), Cell(record, figure=True),
    )  # fmt: skip


def _kind(check: Check, late: frozenset[int]) -> str:
    if check.state != CheckState.SIGNED:
        return str(check.get_state_display())
    words = [] if check.result == CheckResult.PASSED else [str(check.get_result_display())]
    if check.on_paper:
        words.append(_("keyed in from paper"))
    elif check.pk in late:
        words.append(_("late entry"))
    return ", ".join(words)


def _sheet(check: Check) -> str:
    return _("%(sheet)s, check %(number)d, version %(version)d") % {
        "sheet": check.sheet.title, "number": check.number, "version": check.version.version}  # fmt: skip


def _bad_steps(checks: Iterable[Check]) -> dict[int, list[str]]:
    """Return the steps that were not good, in the words of the sheet, with the value as typed."""
    steps: dict[int, dict[str, Any]] = {one.pk: {step["key"]: step for step in one.version.steps} for one in checks}
    found: dict[int, list[str]] = defaultdict(list)
    answers = Answer.objects.filter(
        check_done__in=steps.keys(), outcome__in=(Outcome.BAD, Outcome.UNREAD), retired_at=None
    )
    for answer in answers.order_by("pk"):
        step = steps[answer.check_done_id].get(answer.step, {})
        value = f" {answer.value} {answer.unit}".rstrip()
        found[answer.check_done_id].append(f"{step.get('text', answer.step)}{value}: {answer.get_outcome_display()}")
    return found


def _signed_events(checks: Iterable[Check]) -> dict[int, int]:
    ids = [one.pk for one in checks]
    found: dict[int, int] = {}
    for start in range(0, len(ids), 900):
        rows = Event.objects.filter(
            subject_kind="facility.check", subject_id__in=ids[start : start + 900], action__contains="signed"
        )
        found |= {pk: seq for pk, seq in rows.order_by("seq").values_list("subject_id", "seq") if pk is not None}
    return found
