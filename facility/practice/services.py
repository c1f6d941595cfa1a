"""Holding a drill, putting a procedure in force, marking it read."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max
from django.utils.translation import gettext as _

from facility import events, services
from facility.compute.recency import Practised, practised
from facility.models import Drill, DrillKind, DrillPart, Person, Procedure, ProcedureRead

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from datetime import date, datetime

    from facility.events import Actor
    from facility.models import Site


@transaction.atomic
def hold(
    drill: Drill, people: Iterable[Person], *, by: Actor, late: bool = False, roles: Mapping[int, str] | None = None
) -> Drill:
    """Store a drill with everybody who took part; ``roles`` by the person's number, none is practice for every role.

    Errors: ValidationError if it lies ahead, nobody took part, or what was not reached has no word on what went wrong.
    """
    present = list(people)
    problems: dict[str, str] = {}
    if drill.held_at > events.now():
        problems["held_at"] = _("The drill lies after now. Record it once it was held.")
    if not present:
        problems["people"] = _("Tick who took part.")
    if not drill.reached and not drill.went_wrong.strip():
        problems["went_wrong"] = _("The goal was not reached: say what went wrong. That is what drills are for.")
    if problems:
        raise ValidationError(problems)
    drill.occurred_at = drill.held_at
    services.add(drill, by=by, action="drill held", late=late)
    for person in present:
        role = (roles or {}).get(person.pk, "")
        services.add(DrillPart(drill=drill, person=person, role=role), by=by, action="took part in drill")
    return drill


@dataclass(frozen=True, slots=True)
class Row:
    """One person with the state of each kind of drill, in the order of the kinds."""

    person: Person
    cells: tuple[Practised, ...]


def matrix(site: Site) -> tuple[list[DrillKind], list[Row]]:
    """Return kinds of drills and people against them; three queries."""
    kinds = list(DrillKind.objects.filter(site=site, retired_at=None))
    people = list(Person.objects.filter(site=site, retired_at=None))
    zone = ZoneInfo(site.zone)
    days: defaultdict[tuple[int, int], list[date]] = defaultdict(list)
    parts = DrillPart.objects.filter(
        drill__kind__site=site, drill__retired_at=None, drill__reached=True, retired_at=None
    ).values_list("person_id", "drill__kind_id", "drill__held_at")
    for person, kind, held_at in parts:
        days[person, kind].append(held_at.astimezone(zone).date())
    rows = [
        Row(person, tuple(practised(days[person.pk, kind.pk], kind.every_days) for kind in kinds)) for person in people
    ]
    return kinds, rows


@transaction.atomic
def put_in_force(procedure: Procedure, *, by: Actor, reason: str) -> Procedure:
    """Store a procedure as the next version of its key; the one before stays readable.

    Errors: ValidationError if it has neither text nor paper.
    """
    if not procedure.text.strip() and procedure.evidence is None:
        raise ValidationError({"text": _("Write the steps, or attach the paper.")})
    of_key = Procedure.objects.filter(site=procedure.site, key=procedure.key)
    last = of_key.aggregate(last=Max("version"))["last"]
    procedure.version = (last or 0) + 1
    procedure.approved_by = by.name
    old = of_key.filter(retired_at=None).order_by("-version").first()
    if old is None:
        return services.add(procedure, by=by, action="procedure put in force", reason=reason)
    services.supersede(old, procedure, by=by, reason=reason)
    return procedure


def mark_read(procedure: Procedure, person: Person, *, by: Actor) -> ProcedureRead:
    """Store that a person has read one version.

    Errors: ValidationError if they did already, or it is no longer in force.
    """
    if not procedure.is_current:
        raise ValidationError(_("This version is no longer in force. Read the one that is."), code="over")
    if ProcedureRead.objects.filter(procedure=procedure, person=person, retired_at=None).exists():
        raise ValidationError(_("%(who)s has read this version already.") % {"who": person}, code="read")
    return services.add(
        ProcedureRead(procedure=procedure, person=person, read_at=events.now()), by=by, action="procedure read"
    )


def in_force(site: Site, now: datetime) -> list[Procedure]:
    """Return the procedures of a site that are in force or will be, by title."""
    return list(Procedure.objects.filter(site=site, retired_at=None).order_by("title"))


def unread_by(person: Person) -> list[Procedure]:
    """Return what a person has not read in its present version."""
    read = ProcedureRead.objects.filter(person=person, retired_at=None).values("procedure")
    return list(Procedure.objects.filter(site=person.site, retired_at=None).exclude(pk__in=read).order_by("title"))
