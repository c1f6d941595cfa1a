"""What a report says of people: who was fit when, from papers on record. Names and days only; never why."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING

from django.db.models import Q
from django.utils.translation import gettext as _

from facility.counted import counted
from facility.models import MedicalFitness, MedicalOutcome, Person, QualificationHeld
from facility.report import drawing
from facility.report.shape import Cell, Picture, Section, Table

if TYPE_CHECKING:
    from facility.report.scope import Frame

NO_END = date.max
#: lines of bars in one picture; a page of Letter has room for half as many again
LINES_A_PICTURE = 40


@dataclass(slots=True)
class Papers:
    """What was on record of one person for the days."""

    person: Person
    medicals: list[MedicalFitness] = field(default_factory=list)
    held: dict[str, list[QualificationHeld]] = field(default_factory=lambda: defaultdict(list))


def papers_of(frame: Frame) -> list[Papers]:
    """Return everybody with a paper that was good on one of the days, and today's crew, by name."""
    people = {one.pk: Papers(one) for one in frame.site.people.order_by("name")}
    medicals = MedicalFitness.objects.filter(
        person__site=frame.site, retired_at=None, examined_on__lte=frame.to_day, good_until__gte=frame.from_day
    )
    for medical in medicals.order_by("examined_on", "pk"):
        people[medical.person_id].medicals.append(medical)
    ends = Q(expires_on=None) | Q(expires_on__gte=frame.from_day)
    held = QualificationHeld.objects.filter(ends, person__site=frame.site, retired_at=None, issued_on__lte=frame.to_day)
    for one in held.select_related("kind").order_by("kind__name", "issued_on", "pk"):
        people[one.person_id].held[one.kind.name].append(one)
    return [one for one in people.values() if one.person.is_current or one.medicals or one.held]


def section(frame: Frame) -> Section:
    """Return who was fit when: bars over the days, and the papers behind them."""
    found = papers_of(frame)
    lead = _(
        "%(people)s. A filled bar: a medical that says fit, or fit with limits, was on record; an open bar: a "
        "qualification was. Waits after runs, duty and practice count too and are told day by day in the app."
    ) % {"people": counted(len(found), "person", "people")}
    pictures = [_picture(frame, some) for some in _by_pictures(found)]
    tables = (_medicals(frame, found), _qualifications(frame, found))
    return Section(_("People, and who was fit when"), lead, tables=tables, pictures=tuple(pictures))


def _by_pictures(found: list[Papers]) -> list[list[Papers]]:
    """Return people by the picture they stand in, each as full as a page has room for lines."""
    groups: list[list[Papers]] = []
    lines = LINES_A_PICTURE
    for one in found:
        if lines + 1 + len(one.held) > LINES_A_PICTURE:
            groups.append([])
            lines = 0
        groups[-1].append(one)
        lines += 1 + len(one.held)
    return groups


def _picture(frame: Frame, found: list[Papers]) -> Picture:
    rows: list[tuple[str, bool, list[tuple[date, date]]]] = []
    for one in found:
        fit = [(row.examined_on, row.good_until) for row in one.medicals if row.outcome != MedicalOutcome.UNFIT]
        rows.append((one.person.name, True, fit))
        for kind, held in one.held.items():
            rows.append(
                (kind, False, [(row.issued_on, row.expires_on or NO_END) for row in held if row.second_look_by])
            )
    words = _("Medicals and qualifications of %(names)s over the days; the tables say the same in words.") % {
        "names": ", ".join(one.person.name for one in found)}  # fmt: skip
    return Picture(drawing.address_of(drawing.bars(frame.from_day, frame.to_day, rows)), words)


def _medicals(frame: Frame, found: list[Papers]) -> Table:
    rows = [(one.person, row) for one in found for row in one.medicals]
    numbers = frame.numbers(MedicalFitness, (row.pk for _person, row in rows))
    cells = tuple(
        (
            Cell(person.name), Cell(frame.day(row.examined_on)), Cell(frame.day(row.good_until)),
            Cell(str(row.get_outcome_display())), Cell(row.physician), Cell(numbers.of(row.pk), figure=True),
        )
        for person, row in rows
    )  # fmt: skip
    head = (_("Who"), _("Examined"), _("Good through"), _("Outcome"), _("Physician"), _("Record"))
    return Table(_("Medicals, outcome and dates only"), head, cells, (24, 14, 14, 18, 20, 10), _("None."))


def _qualifications(frame: Frame, found: list[Papers]) -> Table:
    rows = [(one.person, row) for one in found for held in one.held.values() for row in held]
    numbers = frame.numbers(QualificationHeld, (row.pk for _person, row in rows))
    cells = tuple(
        (
            Cell(person.name), Cell(row.kind.name), Cell(frame.day(row.issued_on)),
            Cell(frame.day(row.expires_on) if row.expires_on else _("no end")),
            Cell(row.second_look_by or _("waits; does not count"), strong=not row.second_look_by),
            Cell(numbers.of(row.pk), figure=True),
        )
        for person, row in rows
    )  # fmt: skip
    head = (_("Who"), _("Qualification"), _("Issued"), _("Good through"), _("Dates read twice by"), _("Record"))
    return Table(_("Qualifications held"), head, cells, (22, 24, 13, 13, 18, 10), _("None."))
