"""The record of one person as a paper: their own papers, and nothing of anybody else.

A run is named by its number only; nobody treated stands on it. Of an examination it tells the outcome and until when.
"""

from __future__ import annotations

from collections import defaultdict
from datetime import date, datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from django.utils.dateformat import format as date_words
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from facility.models import DrillPart, DutyPeriod, MedicalFitness, Membership, ProcedureRead, QualificationHeld
from facility.practice.services import unread_by
from facility.report.scope import Frame, Scope
from facility.report.shape import Cell, Section, Table
from facility.small_papers.making import Paper
from maintenance.compute.outage import together_min
from treatments.after.ledger import ledger_of
from treatments.models import Exposure, Run, RunPlace

if TYPE_CHECKING:
    from facility.models import Person
    from facility.small_papers.making import Print
    from treatments.after.ledger import Ledger, Total

NONE = "\u2013"
MONTHS = 12
MINUTES_AN_HOUR = 60


def personal_paper(person: Person, printed: Print) -> Paper:
    """Return the record of a person as of the instant of the print."""
    today = printed.at.astimezone(ZoneInfo(person.site.zone)).date()
    frame = Frame(Scope(person.site, None, today, today), today, today, today)
    ledger = ledger_of(person, printed.at)
    sections = (
        _who(person, frame), _qualifications(person, frame), _medical(person, frame), _drills(person, frame),
        _duty(person, frame), _exposures(ledger, frame), _procedures(person, frame), _runs(person, frame),
    )  # fmt: skip
    return Paper(
        f"personal-record-{person.site.key}-{person.pk}", _("Personal record"), _("person %(number)d") % {"number": person.pk},
        sections, plate=((_("Of"), person.name), (_("As of"), frame.day(today))),
        lead=_("What the records of this site hold of one person. It is for that person, and for those who keep the people; whoever else needs it asks the person. A run is named by its number."),
    )  # fmt: skip


def _who(person: Person, frame: Frame) -> Section:
    facts = [(_("Name"), person.name), (_("Key in the records"), person.key)]
    if person.user_id is not None:
        roles = Membership.objects.filter(user=person.user_id, site=person.site).order_by("recorded_at")
        facts += [
            (_("Account as %(role)s") % {"role": role.get_role_display()}, _("since %(day)s") % {"day": frame.day(role.recorded_at)} if role.retired_at is None
             else _("until %(day)s") % {"day": frame.day(role.retired_at)})
            for role in roles
        ]  # fmt: skip
    if not person.is_current:
        facts.append((_("Taken out of the records"), frame.day(person.retired_at)))
    return Section(_("Who"), facts=tuple(facts))


def _qualifications(person: Person, frame: Frame) -> Section:
    rows = list(
        QualificationHeld.objects.filter(person=person).select_related("kind").order_by("kind__name", "issued_on", "pk")
    )
    numbers = frame.numbers(QualificationHeld, (one.pk for one in rows))
    cells = tuple(
        (
            Cell(one.kind.name, sub=", ".join(part for part in (one.number, one.issuer) if part)), Cell(frame.day(one.issued_on)),
            Cell(frame.day(one.expires_on)), Cell(one.second_look_by or _("waits for it")), _state(one, frame.today),
            Cell(numbers.of(one.pk), figure=True),
        )
        for one in rows
    )  # fmt: skip
    head = (
        _("Qualification"),
        _("Issued"),
        _("Good through"),
        _("Dates read a second time by"),
        _("On the day of the print"),
        _("Record"),
    )
    return Section(
        _("Qualifications"),
        tables=(Table(_("Each certificate on record"), head, cells, (30, 13, 13, 17, 15, 12), _("None is on record.")),),
    )  # fmt: skip


def _state(row: QualificationHeld, today: date) -> Cell:
    if not row.is_current:
        return Cell(_("no longer counts"))
    if not row.second_look_by:
        return Cell(_("does not count yet"), strong=True)
    if row.expires_on is not None and row.expires_on < today:
        return Cell(_("expired"), strong=True)
    return Cell(_("in date") if row.issued_on <= today else _("not yet issued"))


def _medical(person: Person, frame: Frame) -> Section:
    rows = list(MedicalFitness.objects.filter(person=person, retired_at=None).order_by("good_until", "pk"))
    numbers = frame.numbers(MedicalFitness, (one.pk for one in rows))
    cells = tuple(
        (Cell(str(one.get_outcome_display())), Cell(frame.day(one.good_until)),
         Cell(_("over") if one.good_until < frame.today else _("in date"), strong=one.good_until < frame.today and one is rows[-1]), Cell(numbers.of(one.pk), figure=True))
        for one in rows
    )  # fmt: skip
    head = (_("Outcome"), _("Good through"), _("On the day of the print"), _("Record"))
    return Section(
        _("Medical fitness"), _("The outcome and until when. What was found is with the physician."),
        tables=(Table(_("Each examination that counts"), head, cells, (36, 22, 28, 14), _("None is on record.")),),
    )  # fmt: skip


def _drills(person: Person, frame: Frame) -> Section:
    rows = DrillPart.objects.filter(person=person, retired_at=None, drill__retired_at=None).select_related(
        "drill__kind"
    )
    found = list(rows.order_by("drill__held_at", "pk"))
    numbers = frame.numbers(DrillPart, (one.pk for one in found))
    cells = tuple(
        (Cell(frame.at(one.drill.held_at)), Cell(one.drill.kind.name), Cell(one.role or NONE), Cell(_("reached") if one.drill.reached else _("not reached")),
         Cell(numbers.of(one.pk), figure=True))
        for one in found
    )  # fmt: skip
    head = (_("Held"), _("Drill"), _("As"), _("Goal"), _("Record"))
    return Section(
        _("Drills taken part in"),
        tables=(Table(_("Each drill"), head, cells, (20, 36, 18, 14, 12), _("None is on record.")),),
    )


def _duty(person: Person, frame: Frame) -> Section:
    """Return hours on duty and on call by month of the last twelve; hours under two entries count once."""
    first = _months_before(frame.today, MONTHS - 1)
    rows = DutyPeriod.objects.filter(person=person, retired_at=None, starts_at__lt=frame.ends_at)
    spans: dict[tuple[date, bool], list[tuple[datetime, datetime]]] = defaultdict(list)
    entries: dict[date, int] = defaultdict(int)
    for starts_at, ends_at, on_call in rows.values_list("starts_at", "ends_at", "on_call"):
        for month, begin, end in _by_month(max(starts_at, _midnight(first, frame)), min(ends_at, frame.ends_at), frame):
            spans[month, on_call].append((begin, end))
            entries[month] += 1
    months = sorted(entries)
    cells = tuple(
        (Cell(date_words(month, "M Y")), _hours(spans[month, False]), _hours(spans[month, True]), Cell(str(entries[month]), figure=True))
        for month in months
    )  # fmt: skip
    head = (_("Month"), _("On duty at the site"), _("On call"), _("Entries"))
    lead = _(
        "By the roster as it stands, of the last twelve months up to the day of the print; hours under two entries count once. What was worked beyond the roster is not in it."
    )
    return Section(
        _("Duty"),
        lead,
        tables=(Table(_("Hours by month"), head, cells, (28, 28, 28, 16), _("Nothing is on the roster.")),),
    )


def _hours(spans: list[tuple[datetime, datetime]]) -> Cell:
    return Cell(_("%(hours)s h") % {"hours": f"{together_min(spans) / MINUTES_AN_HOUR:.1f}"}, figure=True)


def _months_before(day: date, months: int) -> date:
    """Return the first day of the month so many months before.

    >>> _months_before(date(2026, 2, 12), 11)
    datetime.date(2025, 3, 1)
    """
    count = day.year * MONTHS + day.month - 1 - months
    return date(count // MONTHS, count % MONTHS + 1, 1)


def _midnight(day: date, frame: Frame) -> datetime:
    return datetime(day.year, day.month, day.day, tzinfo=frame.zone)


def _by_month(start: datetime, end: datetime, frame: Frame) -> list[tuple[date, datetime, datetime]]:
    """Return the parts of a span in the months of the site that it touches."""
    found = []
    while start < end:
        month = frame.local(start).replace(day=1)
        stop = min(end, _midnight(_months_before(month, -1), frame))
        found.append((month, start, stop))
        start = stop
    return found


def _exposures(ledger: Ledger, frame: Frame) -> Section:
    totals = tuple(
        _total(words, one)
        for words, one in ((_("in the last 30 days"), ledger.month), (_("in the last 365 days"), ledger.year), (_("in all"), ledger.ever))
    )  # fmt: skip
    numbers = frame.numbers(Exposure, (one.pk for one in ledger.rows))
    each = tuple(
        (Cell(_("run %(number)d") % {"number": one.run.number}, sub=str(one.occupant.get_role_display())), Cell(frame.at(one.ends_at)),
         Cell(f"{one.deepest_fsw.normalize():f} fsw", figure=True), Cell(f"{one.minutes:.0f} min", figure=True), Cell(f"{one.oxygen_min:.0f} min", figure=True),
         Cell(NONE if one.uptd is None else f"{one.uptd:.0f}", figure=True), Cell(numbers.of(one.pk), figure=True))
        for one in reversed(ledger.rows)
    )  # fmt: skip
    notes = []
    if ledger.not_closed:
        notes.append(
            ngettext(
                "%(n)d run under pressure is not in it: its record was not closed.",
                "%(n)d runs under pressure are not in it: their records were not closed.",
                ledger.not_closed,
            )
            % {"n": ledger.not_closed}
        )
    notes += [_("A wait runs until %(at)s.") % {"at": frame.at(one.ends_at)} for one in ledger.waits]
    sums = (_("Time under pressure"), _("Runs"), _("Under pressure"), _("On oxygen"), _("UPTD"), _("Deepest"))
    head = (_("Run, as"), _("Until"), _("Deepest"), _("Under pressure"), _("On oxygen"), _("UPTD"), _("Record"))
    return Section(
        _("Tending and other time under pressure"), _("As computed when the record of each run was closed, of runs at this site only: what was taken elsewhere is not in it. It is a record, not leave to go under pressure again: the physician decides who is fit."),
        notes=tuple(notes),
        tables=(Table(_("Sums"), sums, totals if ledger.rows else (), (26, 12, 18, 16, 12, 16)),
                Table(_("Each time"), head, each, (20, 20, 12, 14, 12, 9, 13), _("None is on record."))),
    )  # fmt: skip


def _total(words: str, one: Total) -> tuple[Cell, ...]:
    deepest = NONE if one.deepest_fsw is None else f"{one.deepest_fsw.normalize():f} fsw"
    return (
        Cell(words), Cell(str(one.runs), figure=True), Cell(f"{one.minutes:.0f} min", figure=True), Cell(f"{one.oxygen_min:.0f} min", figure=True),
        Cell(f"{one.uptd:.0f}", figure=True), Cell(deepest, figure=True),
    )  # fmt: skip


def _procedures(person: Person, frame: Frame) -> Section:
    rows = list(
        ProcedureRead.objects.filter(person=person, retired_at=None)
        .select_related("procedure")
        .order_by("read_at", "pk")
    )
    numbers = frame.numbers(ProcedureRead, (one.pk for one in rows))
    cells = tuple(
        (Cell(one.procedure.title), Cell(str(one.procedure.version), figure=True), Cell(frame.at(one.read_at)),
         Cell(_("in force") if one.procedure.is_current else _("there is a newer version")), Cell(numbers.of(one.pk), figure=True))
        for one in rows
    )  # fmt: skip
    unread = [one.title for one in unread_by(person)]
    notes = (_("Not read yet in the version in force: %(titles)s.") % {"titles": "; ".join(unread)},) if unread else ()
    head = (_("Procedure"), _("Version"), _("Read"), _("That version is"), _("Record"))
    return Section(
        _("Procedures read"),
        notes=notes,
        tables=(Table(_("Each version"), head, cells, (40, 10, 18, 20, 12), _("None is on record.")),),
    )


def _runs(person: Person, frame: Frame) -> Section:
    """Return the roles in runs; where a run only names its supervisor, that too, said to be by name."""
    places = RunPlace.objects.filter(
        person=person, retired_at=None, run__started_at__isnull=False, run__retired_at=None
    )
    rows = list(places.select_related("run"))
    mine = {one.run_id for one in rows}
    named = Run.objects.filter(
        chamber__site=person.site, supervisor=person.name, started_at__isnull=False, retired_at=None
    ).exclude(pk__in=mine)
    of_places, of_runs = frame.numbers(RunPlace, (one.pk for one in rows)), list(named)
    numbers = frame.numbers(Run, (one.pk for one in of_runs))
    told = [
        (one.run, str(one.get_role_display()), _("under pressure") if one.inside else _("outside"), of_places.of(one.pk)) for one in rows
    ] + [(one, _("supervisor, by name"), _("not told"), numbers.of(one.pk)) for one in of_runs]  # fmt: skip
    told.sort(key=lambda one: (one[0].started_at or frame.ends_at, one[0].pk))
    cells = tuple(
        (Cell(_("run %(number)d") % {"number": run.number}), Cell(frame.at(run.started_at)), Cell(role), Cell(where), Cell(record, figure=True))
        for run, role, where, record in told
    )  # fmt: skip
    head = (_("Run"), _("Left surface"), _("As"), _("Where"), _("Record"))
    return Section(
        _("Roles in runs"), tables=(Table(_("Each role"), head, cells, (14, 24, 30, 20, 12), _("None is on record.")),)
    )
