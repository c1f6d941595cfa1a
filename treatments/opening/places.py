"""Who is in a run in which role. A patient has a pseudonym of the run; one person alone in two roles is asked why."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext as _

from facility import house, services
from treatments.models import LogEntry, Patient, Run, RunPlace, RunRole

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import datetime

    from facility.events import Actor
    from facility.models import Person

ALWAYS_INSIDE = frozenset({RunRole.TENDER, RunRole.PATIENT})
#: roles that a run should not be without; common practice, no source
LOOKED_FOR = (RunRole.SUPERVISOR, RunRole.PANEL, RunRole.LOG, RunRole.TENDER)


@dataclass(frozen=True, slots=True)
class NewPlace:
    """Somebody to be put in a run. ``name`` only for who is not of the crew; a patient is never named here."""

    role: str
    person: Person | None = None
    name: str = ""
    inside: bool = False
    previous_exposure_at: datetime | None = None


def places_of(run: Run) -> list[RunPlace]:
    """Return who is in a run, in the order in which they were put there."""
    return list(RunPlace.objects.filter(run=run, retired_at=None).select_related("person").order_by("id"))


@transaction.atomic
def add_place(run: Run, new: NewPlace, *, by: Actor) -> RunPlace:
    """Put somebody in a run. A patient is called "patient 1", "patient 2" and so on, whatever was typed.

    Errors: ValidationError if nobody is named, the person is of another site or has the role already,
    or the record of the run is closed.
    """
    refuse_closed(run)
    places = places_of(run)
    if new.role == RunRole.PATIENT:
        person, label = None, _next_patient(run)
    else:
        person, label = new.person, _label(run, new)
    if any(one.role == new.role and one.label.casefold() == label.casefold() for one in places):
        raise ValidationError({"person": _("%(who)s is %(role)s of this run already.")
                               % {"who": label, "role": RunRole(new.role).label}})  # fmt: skip
    inside = new.inside or new.role in ALWAYS_INSIDE
    before = new.previous_exposure_at
    if before is None and inside and person is not None:
        before = last_under_pressure(person, run)
    place = RunPlace(
        run=run, role=new.role, label=label, person=person, inside=inside, previous_exposure_at=before
    )  # fmt: skip
    return services.add(place, by=by, action="person put in the run")


def _label(run: Run, new: NewPlace) -> str:
    if new.person is not None:
        if new.person.site_id != run.chamber.site_id or not new.person.is_current:
            raise ValidationError({"person": _("“%(who)s” is nobody of this site who counts. Choose another.")
                                   % {"who": new.person}})  # fmt: skip
        return new.person.name[:60]
    if not new.name.strip():
        raise ValidationError({"person": _("Choose somebody of the crew, or write the name of who is not of it.")})
    return new.name.strip()[:60]


def _next_patient(run: Run) -> str:
    """Return the next pseudonym; one that was taken off is not given again."""
    return _("patient %(n)d") % {"n": RunPlace.objects.filter(run=run, role=RunRole.PATIENT).count() + 1}


def last_under_pressure(person: Person, run: Run) -> datetime | None:
    """Return when this person last came to surface in a run before this one, as far as the records know."""
    of_person = Q(places__person=person, places__inside=True, places__retired_at=None)
    waited = Q(waits__person=person, waits__retired_at=None)
    rows = Run.objects.filter(of_person | waited, retired_at=None, ended_at__isnull=False).exclude(pk=run.pk)
    if run.started_at is not None:
        rows = rows.filter(ended_at__lte=run.started_at)
    return rows.order_by("-ended_at").values_list("ended_at", flat=True).first()


@transaction.atomic
def change_place(place: RunPlace, *, shown_version: int, reason: str, by: Actor) -> RunPlace:
    """Store whether somebody goes under pressure, and when they last did. Errors: as services.change()."""
    refuse_closed(place.run)
    if place.role in ALWAYS_INSIDE and not place.inside:
        raise ValidationError({"inside": _("A %(role)s goes under pressure. Put the person in another role.")
                               % {"role": RunRole(place.role).label}})  # fmt: skip
    return services.change(place, by=by, reason=reason, shown_version=shown_version, action="place in the run changed")


@transaction.atomic
def take_off(place: RunPlace, *, reason: str, by: Actor) -> RunPlace:
    """Take somebody off a run who was put there by mistake.

    Errors: ValidationError if the log tells of them, or the reason is blank.
    """
    refuse_closed(place.run)
    if LogEntry.objects.filter(occupant=place, retired_at=None).exists():
        raise ValidationError(_("The log tells of %(who)s. Strike those entries first, or leave the place.")
                              % {"who": place.label}, code="logged")  # fmt: skip
    return services.retire(place, by=by, reason=reason, action="person taken off the run")


@transaction.atomic
def link_patient(place: RunPlace, patient: Patient | None, *, by: Actor, reason: str) -> RunPlace:
    """Say who a patient of a run is. The event holds the number of the identity's row, nothing of its values.

    Errors: ValidationError if the place is no patient's, or the identity is of another site or erased.
    """
    if place.role != RunRole.PATIENT:
        raise ValidationError(_("%(who)s is no patient of this run.") % {"who": place.label}, code="role")
    if patient is not None and (patient.site_id != place.run.chamber.site_id or patient.erased_at is not None):
        raise ValidationError({"patient": _("This is no patient of this site. Choose another, or add one.")})
    place.patient = patient
    return services.change(place, by=by, reason=reason, shown_version=place.row_version, action="patient linked")


def refuse_closed(run: Run) -> None:
    """Errors: ValidationError if the run was given up or its record is closed."""
    if run.retired_at is not None:
        raise ValidationError(_("Run %(number)d was given up.") % {"number": run.number}, code="given up")
    if run.closed_at is not None:
        raise ValidationError(_("The record of run %(number)d is closed.") % {"number": run.number}, code="closed")


def _key(place: RunPlace) -> str:
    return str(place.person_id or place.label.casefold())


def alone(run: Run, places: Sequence[RunPlace]) -> list[str]:
    """Return who has roles that should be apart: instructor, or by house rule supervisor, and only panel operator."""
    panel = {_key(place) for place in places if place.role == RunRole.PANEL}
    if len(panel) != 1:
        return []
    asked = [RunRole.INSTRUCTOR]
    if int(house.values(run.chamber.site)["supervisor_at_panel_asks"]):
        asked.append(RunRole.SUPERVISOR)
    return [
        _("%(who)s is %(role)s and the only panel operator.") % {"who": place.label, "role": RunRole(place.role).label}
        for place in places if place.role in asked and _key(place) in panel
    ]  # fmt: skip


@transaction.atomic
def say_why_alone(run: Run, reason: str, *, by: Actor) -> Run:
    """Keep why one person has roles that should be apart. Errors: ValidationError if it is blank."""
    run.alone_because = services.need_reason(reason)
    return services.change(run, by=by, reason=run.alone_because, shown_version=run.row_version,
                           action="one person in two roles")  # fmt: skip


def roles_open(places: Iterable[RunPlace]) -> list[str]:
    """Return the roles that a run should not be without and that nobody has."""
    taken = {place.role for place in places}
    return [str(role.label) for role in LOOKED_FOR if role not in taken]
