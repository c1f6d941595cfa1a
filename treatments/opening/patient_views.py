"""Pages that name a patient, and those of clinical texts. Each asks for the right to it, to look and to write."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.db.models import Q
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from facility.access import Act, enter
from facility.history import timeline
from treatments.models import ClinicalText, Patient, RunPlace
from treatments.opening import patients as services
from treatments.opening.clinical import add_clinical, correct_clinical, erase_clinical, may_read
from treatments.opening.forms import ClinicalForm, CorrectClinicalForm, LinkForm, PatientForm, ReasonForm
from treatments.opening.places import link_patient as record_link
from treatments.opening.views import context as run_context
from treatments.opening.views import place_of, run_of, settled

if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse

    from facility.access import Visit

PAGE = 100


def context(visit: Visit, **more: Any) -> dict[str, Any]:
    """Return what every page of a patient needs."""
    return {"visit": visit, "place": "records", **more}


def _patient(visit: Visit, pk: int) -> Patient:
    return get_object_or_404(Patient.objects.filter(site=visit.site).select_related("site"), pk=pk)


def patients(request: HttpRequest, site: str) -> HttpResponse:
    """List the patients, newest first; a word of the name or number narrows it. The word travels by POST only."""
    visit = enter(request, site, Act.PATIENT)
    word = request.POST.get("word", "").strip()
    rows = Patient.objects.filter(site=visit.site, retired_at=None)
    if word:
        rows = rows.filter(Q(name__icontains=word) | Q(number__icontains=word))
    return render(
        request, "treatments/opening/patients.html", context(visit, rows=rows.order_by("-id")[:PAGE], word=word)
    )


def patient(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Show one patient's identity, and the runs that knew the patient by a pseudonym."""
    visit = enter(request, site, Act.PATIENT)
    row = _patient(visit, pk)
    places = RunPlace.objects.filter(patient=row, retired_at=None).select_related("run__chamber", "run__plan")
    more = context(
        visit, row=row, places=list(places.order_by("-id")), history=timeline(row, ZoneInfo(visit.site.zone))
    )
    return render(request, "treatments/opening/patient.html", more)


def add_patient(request: HttpRequest, site: str) -> HttpResponse:
    """Add a patient's identity; with ``?place=`` of a run it is linked there at once."""
    visit = enter(request, site, Act.PATIENT)
    place = _place_asked_for(request, visit)
    form = PatientForm(request.POST or None, instance=Patient(site=visit.site))
    done, status = settled(form, lambda _typed: _add(form.instance, place, visit))
    if done:
        messages.success(request, _("The identity is recorded. The log holds only a digest of it."))
        return (
            redirect("treatments:run_people", site, place.run_id)
            if place
            else redirect("treatments:patient", site, form.instance.pk)
        )
    more = context(visit, form=form, head=_("Add patient"), act=_("Record"), one=place)
    return render(request, "treatments/opening/patient_form.html", more, status=status)


def _place_asked_for(request: HttpRequest, visit: Visit) -> RunPlace | None:
    asked = request.GET.get("place", "")
    if not asked.isdecimal():
        return None
    rows = RunPlace.objects.filter(run__chamber__site=visit.site, retired_at=None).select_related("run__chamber__site")
    return get_object_or_404(rows, pk=int(asked))


def _add(row: Patient, place: RunPlace | None, visit: Visit) -> None:
    services.add_patient(row, by=visit.actor)
    if place is not None:
        record_link(place, row, by=visit.actor, reason=_("Identity added."))


def change_patient(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Correct a patient's identity."""
    visit = enter(request, site, Act.PATIENT)
    row = _patient(visit, pk)
    form = PatientForm(request.POST or None, instance=row, changing=True)
    done, status = settled(form, lambda typed: services.change_patient(
        row, reason=typed["reason"], shown_version=typed["shown_version"], by=visit.actor
    ))  # fmt: skip
    if done:
        return redirect("treatments:patient", site, pk)
    more = context(visit, form=form, row=row, head=_("Correct the identity"), act=_("Record"))
    return render(request, "treatments/opening/patient_form.html", more, status=status)


def erase_patient(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Erase a patient's identity; runs keep the pseudonym, the log stays whole."""
    visit = enter(request, site, Act.PATIENT)
    row = _patient(visit, pk)
    form = ReasonForm(request.POST or None)
    done, status = settled(form, lambda typed: services.erase_patient(
        row, reason=typed["reason"], shown_version=row.row_version, by=visit.actor
    ))  # fmt: skip
    if done:
        messages.success(request, _("The identity is erased. Runs keep the pseudonym."))
        return redirect("treatments:patient", site, pk)
    told = _(
        "What the identity says cannot be brought back. Keep it as long as local law asks for records of treatment."
    )
    more = context(visit, form=form, row=row, head=_("Erase the identity"), act=_("Erase it"), told=told)
    return render(request, "treatments/opening/patient_form.html", more, status=status)


def link_patient(request: HttpRequest, site: str, pk: int, place_pk: int) -> HttpResponse:
    """Say who a patient of a run is."""
    visit = enter(request, site, Act.PATIENT)
    run = run_of(visit, pk)
    place = place_of(run, place_pk)
    form = LinkForm(request.POST or None, initial={"patient": place.patient_id})
    form.open_at(visit.site, place)
    done, status = settled(
        form,
        lambda typed: record_link(
            place, typed["patient"], by=visit.actor, reason=typed["reason"] or _("Identity linked.")
        ),
    )
    if done:
        return redirect("treatments:run_people", site, pk)
    return render(request, "treatments/opening/link.html", run_context(visit, run, form=form, one=place), status=status)


def clinical(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Show the clinical texts of a run, corrected ones struck, and add one."""
    visit = enter(request, site, Act.PATIENT)
    run = run_of(visit, pk)
    if not may_read(visit, run):
        raise Http404
    form = ClinicalForm(request.POST or None)
    form.open_at(run)
    done, status = settled(form, lambda typed: add_clinical(run, typed["text"], typed["about"], None, visit.actor))
    if done:
        return redirect("treatments:clinical", site, pk)
    rows = ClinicalText.objects.filter(run=run).select_related("about", "entry").order_by("id")
    more = run_context(visit, run, form=form, rows=list(rows)) | {"place": "records"}
    return render(request, "treatments/opening/clinical.html", more, status=status)


def correct_text(request: HttpRequest, site: str, pk: int, text_pk: int) -> HttpResponse:
    """Put the right clinical text in the place of a wrong one, or erase it."""
    visit = enter(request, site, Act.PATIENT)
    run = run_of(visit, pk)
    row = get_object_or_404(ClinicalText.objects.filter(run=run, erased_at=None), pk=text_pk)
    erasing = "erase" in request.POST
    form = (
        ReasonForm(request.POST) if erasing else CorrectClinicalForm(request.POST or None, initial={"text": row.text})
    )
    done, status = settled(form, lambda typed: erase_clinical(row, reason=typed["reason"], by=visit.actor) if erasing
                         else correct_clinical(row, typed["text"], reason=typed["reason"], by=visit.actor))  # fmt: skip
    if done:
        return redirect("treatments:clinical", site, pk)
    more = run_context(visit, run, form=form, text_row=row) | {"place": "records"}
    return render(request, "treatments/opening/correct_text.html", more, status=status)
