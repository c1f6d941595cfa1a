"""A run before it leaves surface: people, screening, patients, clinical texts."""

from __future__ import annotations

from typing import Any

from facility.access import Act
from facility.models import Site
from tests import make
from treatments.models import Patient, Run, RunRole
from treatments.opening.clinical import add_clinical
from treatments.opening.patients import add_patient
from treatments.opening.places import NewPlace, add_place

PAGES = {
    "treatments:run_people": Act.SEE, "treatments:add_place": Act.LOG, "treatments:change_place": Act.LOG,
    "treatments:screen": Act.LOG, "treatments:say_alone": Act.LOG, "treatments:give_up_run": Act.RUN,
    "treatments:give_reason": Act.RUN, "treatments:leave_surface": Act.RUN, "treatments:link_patient": Act.PATIENT,
    "treatments:clinical": Act.PATIENT, "treatments:correct_text": Act.PATIENT, "treatments:patients": Act.PATIENT,
    "treatments:add_patient": Act.PATIENT, "treatments:patient": Act.PATIENT, "treatments:change_patient": Act.PATIENT,
    "treatments:erase_patient": Act.PATIENT,
}  # fmt: skip


def rows(site: Site) -> dict[str, Any]:
    """Return one existing thing for each page that asks for one."""
    run = Run.objects.filter(chamber__site=site)[0]
    place = add_place(run, NewPlace(RunRole.PATIENT), by=make.BY)
    patient = add_patient(Patient(site=site, name="Somebody"), by=make.BY)
    text = add_clinical(run, "well", place, None, make.BY)
    of_run = ("run_people", "add_place", "say_alone", "give_up_run", "give_reason", "leave_surface", "clinical")
    of_place = ("change_place", "screen", "link_patient")
    in_place = {"pk": run.pk, "place_pk": place.pk}
    found: dict[str, Any] = dict.fromkeys((f"treatments:{name}" for name in of_run), run)
    found |= dict.fromkeys((f"treatments:{name}" for name in of_place), in_place)
    found |= dict.fromkeys((f"treatments:{name}" for name in ("patient", "change_patient", "erase_patient")), patient)
    return found | {"treatments:correct_text": {"pk": run.pk, "text_pk": text.pk}}
