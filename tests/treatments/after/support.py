"""A whole table 6 as logged, with a patient and a tender, and people who may sign."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from django.test import Client
from django.urls import reverse

from facility.models import Person, SiteRole
from tests import make
from tests.treatments.recording.support import entry, log_six, place, run_on, signed_in
from treatments.after.record import Record, record_of
from treatments.models import LogKind, Patient, Run, RunPlace, RunRole
from treatments.opening.patients import add_patient

#: table 6, minutes from leaving the surface: oxygen on and off of the patient (revision 4A, 20 fsw/min down)
PATIENT_ON = (3, 28, 53, 78, 123, 198)
PATIENT_OFF = (23, 48, 73, 108, 183)
#: the tender's 30 min at 30 fsw and the ascent (handbook 2.1)
TENDER_ON = 228
SECRET = "Marker-Nameleak Quist"
CLINICAL = "Marker-Clinicalleak in the left arm"


@dataclass(frozen=True)
class Whole:
    """A run with everybody in it."""

    run: Run
    patient: RunPlace
    tender: RunPlace
    tender_person: Person

    @property
    def record(self) -> Record:
        """The record as of long after."""
        run = Run.objects.select_related("chamber__site", "plan", "lock").get(pk=self.run.pk)
        return record_of(run, make.NOON.replace(year=2027))

    def page(self, name: str) -> str:
        """Return the address of a page of the run."""
        return reverse(f"treatments:{name}", args=[self.run.chamber.site.key, self.run.pk])


def whole_six(**fields: Any) -> Whole:
    """Return an ended run on table 6 that was logged to the minute."""
    run = run_on(**fields)
    site = run.chamber.site
    who = add_patient(Patient(site=site, name=SECRET, born_on=date(1980, 5, 4), note=SECRET, number=SECRET), by=make.BY)
    crew = make.person(site, name="Tove Holm")
    place(run, RunRole.SUPERVISOR, "Ina Tamaro")
    patient = place(run, RunRole.PATIENT, "patient 1", patient=who, inside=True)
    tender = place(run, RunRole.TENDER, "Tove Holm", person=crew, inside=True)
    log_six(run)
    for minute in PATIENT_ON:
        entry(run, LogKind.OXYGEN_ON, minute, occupant=patient)
    for minute in PATIENT_OFF:
        entry(run, LogKind.AIR_BREAK, minute, occupant=patient)
    entry(run, LogKind.OXYGEN_ON, TENDER_ON, occupant=tender)
    return Whole(run, patient, tender, crew)


def operator(whole: Whole) -> Client:
    """Return a client of an operator of the site."""
    return signed_in(make.user(whole.run.chamber.site, SiteRole.OPERATOR))


def closed(whole: Whole) -> Whole:
    """Close the record of a run from its page."""
    assert operator(whole).post(whole.page("after_run")).status_code == 302
    return whole


def sign_as(whole: Whole, role: SiteRole, capacity: str, **fields: Any) -> Any:
    """Sign the record as it stands, as somebody with a role, from the page."""
    client = signed_in(make.user(whole.run.chamber.site, role))
    typed = {"capacity": capacity, "shown": whole.record.digest, "password": make.PASSWORD, "comment": ""}
    return client.post(whole.page("sign_run"), typed | fields)
