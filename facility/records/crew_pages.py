"""The place People: me, what expires next, the roster of 14 days, who holds what."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from django.shortcuts import render
from django.utils.translation import gettext as _

from facility import events
from facility.access import Act, enter
from facility.fields import day_text
from facility.models import Contact, MedicalFitness, Person, QualificationHeld, QualificationKind
from facility.records.recent import Practices
from facility.records.roster import days_of, roster_of
from facility.records.states import Moment, State, moment_of, of_contacts, of_medical, of_qualification

if TYPE_CHECKING:
    from collections.abc import Iterable

    from django.http import HttpRequest, HttpResponse


@dataclass(frozen=True, slots=True)
class Cell:
    """What one person holds of one kind: the row, its state, and the short text in the table."""

    row: Any
    slug: str
    state: State | None
    text: str


@dataclass(frozen=True, slots=True)
class PersonLine:
    """One person with a cell for each kind, the medical last."""

    person: Person
    cells: tuple[tuple[str, Cell], ...]


def people(request: HttpRequest, site: str) -> HttpResponse:
    """Show the people."""
    visit = enter(request, site, Act.SEE)
    moment = moment_of(visit.site, events.now())
    everyone = list(Person.objects.filter(site=visit.site, retired_at=None).order_by("name"))
    kinds = list(
        QualificationKind.objects.filter(organisation=visit.site.organisation_id, retired_at=None).order_by("name")
    )
    lines = _matrix(everyone, kinds, moment)
    contacts = list(Contact.objects.filter(site=visit.site, retired_at=None).order_by("kind", "name"))
    said = of_contacts(contacts, moment)
    context = {
        "visit": visit, "place": "people", "moment": moment, "kinds": kinds, "lines": lines,
        "me": next((line for line in lines if line.person.user_id == request.user.pk), None),
        "held_by_me": any(cell.row for line in lines if line.person.user_id == request.user.pk for _name, cell in line.cells),
        "next_to_expire": _next_to_expire(lines), "days": days_of(moment),
        "roster": roster_of(visit.site, everyone, moment),
        "contacts": [(one, said[one.pk]) for one in contacts],
        "may_people": visit.may(Act.PEOPLE), "may_medical": visit.may(Act.MEDICAL), "may_accounts": visit.may(Act.ACCOUNTS),
    }  # fmt: skip
    return render(request, "places/people.html", context)


def _matrix(everyone: list[Person], kinds: list[QualificationKind], moment: Moment) -> list[PersonLine]:
    held: dict[tuple[int, int], QualificationHeld] = {}
    ids = [one.pk for one in everyone]
    rows = list(QualificationHeld.objects.filter(person__in=ids, retired_at=None).select_related("kind"))
    practices = Practices(rows, moment.zone.key)
    for row in rows:
        known = held.get((row.person_id, row.kind_id))
        if known is None or _better(row, known):
            held[row.person_id, row.kind_id] = row
    medicals: dict[int, MedicalFitness] = {}
    for medical in MedicalFitness.objects.filter(person__in=ids, retired_at=None).order_by("examined_on", "pk"):
        medicals[medical.person_id] = medical
    return [
        PersonLine(person, (
            *((kind.name, _held_cell(held.get((person.pk, kind.pk)), moment, practices)) for kind in kinds),
            (_("Medical"), _medical_cell(medicals.get(person.pk), moment)),
        ))
        for person in everyone
    ]  # fmt: skip


def _better(row: QualificationHeld, known: QualificationHeld) -> bool:
    """Return whether a certificate counts before another: looked at twice first, then the later end."""

    def worth(held: QualificationHeld) -> tuple[bool, date]:
        return bool(held.second_look_by), held.expires_on or date.max

    return worth(row) > worth(known)


def _held_cell(row: QualificationHeld | None, moment: Moment, practices: Practices) -> Cell:
    if row is None:
        return Cell(None, "qualification", None, "")
    good_through = practices.good_through(row)
    text = day_text(good_through) if good_through else _("no end")
    return Cell(row, "qualification", of_qualification(row, moment, practices), text)


def _medical_cell(row: MedicalFitness | None, moment: Moment) -> Cell:
    if row is None:
        return Cell(None, "medical", None, "")
    return Cell(row, "medical", of_medical(row, moment), day_text(row.good_until))


def _next_to_expire(lines: Iterable[PersonLine]) -> list[tuple[Person, str, Cell]]:
    """Return what is due or over, soonest end first."""
    found = [
        (line.person, name, cell)
        for line in lines for name, cell in line.cells
        if cell.row is not None and cell.state is not None and not cell.state.quiet
    ]  # fmt: skip
    return sorted(found, key=lambda one: _end(one[2].row) or date.max)


def _end(row: Any) -> date | None:
    end: date | None = row.good_until if isinstance(row, MedicalFitness) else row.expires_on
    return end
