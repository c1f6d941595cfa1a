"""Forms of a run's people, their screening, and who a patient is."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from facility.fields import DayField, InstantField
from facility.models import Person
from treatments.models import Asked, Patient, RunPlace, RunRole, Screening, ScreeningBefore
from treatments.opening.places import ALWAYS_INSIDE, NewPlace
from treatments.opening.screening import QUESTIONS

if TYPE_CHECKING:
    from facility.models import Site
    from treatments.models import Run

REASON = gettext_lazy("Reason")
NEWEST_PATIENTS = 200


class PlaceForm(forms.Form):
    """Somebody who is put in a run."""

    role = forms.ChoiceField(label=gettext_lazy("Role"), choices=[("", ""), *RunRole.choices])
    person = forms.ModelChoiceField(
        Person.objects.none(), label=gettext_lazy("Of the crew"), required=False,
        help_text=gettext_lazy("Leave empty for a patient: patients are called patient 1, patient 2 and so on."),
    )  # fmt: skip
    name = forms.CharField(
        label=gettext_lazy("Or the name of somebody not of the crew"), max_length=60, required=False,
        help_text=gettext_lazy("Never a patient's name: it would stand in the log."),
    )  # fmt: skip
    inside = forms.BooleanField(
        label=gettext_lazy("Goes under pressure"), required=False,
        help_text=gettext_lazy("A patient and an inside tender always do."),
    )  # fmt: skip
    previous_exposure_at = InstantField(
        label=gettext_lazy("Last came to surface from an earlier run or dive"), required=False,
        help_text=gettext_lazy("Empty: taken from the runs recorded here."),
    )  # fmt: skip

    def open_at(self, site: Site) -> None:
        """Limit the choices to the site; read times in its zone."""
        fields: Any = self.fields
        fields["person"].queryset = Person.objects.filter(site=site, retired_at=None)
        fields["previous_exposure_at"].set_zone(site.zone)

    def clean(self) -> dict[str, Any]:
        """Refuse a patient with a name, since it would stand in the log and its events."""
        typed: dict[str, Any] = super().clean() or self.cleaned_data
        if typed.get("role") == RunRole.PATIENT and (typed.get("name") or typed.get("person")):
            self.add_error(
                "name", _("A patient is not named here. Empty this; who it is goes on the patient's own page.")
            )
        return typed

    def new_place(self) -> NewPlace:
        """Return what was typed."""
        typed = self.cleaned_data
        return NewPlace(typed["role"], typed["person"], typed["name"], typed["inside"], typed["previous_exposure_at"])


class ChangePlaceForm(forms.ModelForm[RunPlace]):
    """Whether somebody goes under pressure, and when they last did."""

    previous_exposure_at = InstantField(
        label=gettext_lazy("Last came to surface from an earlier run or dive"), required=False
    )
    reason = forms.CharField(label=REASON, max_length=500)
    shown_version = forms.IntegerField(widget=forms.HiddenInput)

    class Meta:
        model = RunPlace
        fields = ["inside", "previous_exposure_at"]

    def open_at(self, site: Site) -> None:
        """Read times in the site's zone; a tender and a patient always go under pressure."""
        fields: Any = self.fields
        fields["previous_exposure_at"].set_zone(site.zone)
        fields["shown_version"].initial = self.instance.row_version
        if self.instance.role in ALWAYS_INSIDE:
            del self.fields["inside"]


class ReasonForm(forms.Form):
    """One reason that is kept."""

    reason = forms.CharField(label=REASON, max_length=500)


class ScreeningForm(forms.ModelForm[Screening]):
    """One occupant, one named person, five answers. Nothing is ticked beforehand; not asked is an answer."""

    screened_at = InstantField(label=gettext_lazy("Screened at"))

    class Meta:
        model = Screening
        fields = ["before", *QUESTIONS, "screened_by", "screened_at", "remark"]
        widgets = dict.fromkeys(["before", *QUESTIONS], forms.RadioSelect)

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        fields: Any = self.fields
        for name in QUESTIONS:
            fields[name].choices = list(Asked.choices)
        fields["before"].choices = list(ScreeningBefore.choices)

    def open_at(self, site: Site) -> None:
        """Read times in the site's zone."""
        field: Any = self.fields["screened_at"]
        field.set_zone(site.zone)


class PatientForm(forms.ModelForm[Patient]):
    """A patient's identity. No field here is kept as a draft on the device."""

    born_on = DayField(label=gettext_lazy("Born on"), required=False)

    class Meta:
        model = Patient
        fields = ["name", "born_on", "reach_at", "number", "note"]

    def __init__(self, *args: Any, changing: bool = False, **more: Any) -> None:
        super().__init__(*args, **more)
        for field in self.fields.values():
            field.widget.attrs["autocomplete"] = "off"
        if changing:
            self.fields["reason"] = forms.CharField(
                label=REASON, max_length=500, help_text=gettext_lazy("It stands in the log: nothing about the patient.")
            )
            self.fields["shown_version"] = forms.IntegerField(
                widget=forms.HiddenInput, initial=self.instance.row_version
            )


class LinkForm(forms.Form):
    """Which identity a patient of a run has."""

    patient = forms.ModelChoiceField(
        Patient.objects.none(), label=gettext_lazy("Patient"), required=False,
        help_text=gettext_lazy("The newest are listed. Empty: not known, or not linked any more."),
    )  # fmt: skip
    reason = forms.CharField(
        label=REASON, max_length=300, required=False,
        help_text=gettext_lazy("Needed where another identity was linked. It stands in the log: nothing about the patient."),
    )  # fmt: skip

    def open_at(self, site: Site, place: RunPlace) -> None:
        """Offer the identities of the site, newest first."""
        field: Any = self.fields["patient"]
        newest = Patient.objects.filter(site=site, retired_at=None, erased_at=None).order_by("-id")[:NEWEST_PATIENTS]
        field.queryset = Patient.objects.filter(pk__in=[row.pk for row in newest] + [place.patient_id]).order_by("-id")
        field.label_from_instance = lambda row: f"{row.name}, {row.born_on or '?'}"
        self.place = place

    def clean(self) -> dict[str, Any]:
        """Ask for a reason where a link is changed."""
        typed: dict[str, Any] = super().clean() or self.cleaned_data
        patient = typed.get("patient")
        if self.place.patient_id and self.place.patient_id != getattr(patient, "pk", None) and not typed.get("reason"):
            self.add_error("reason", _("Another identity was linked. Say why this is changed."))
        return typed


class ClinicalForm(forms.Form):
    """A text about somebody's health, kept apart from the log."""

    about = forms.ModelChoiceField(RunPlace.objects.none(), label=gettext_lazy("About"), required=False)
    text = forms.CharField(label=gettext_lazy("Text"), widget=forms.Textarea(attrs={"autocomplete": "off"}))

    def open_at(self, run: Run) -> None:
        """Offer who is in the run."""
        field: Any = self.fields["about"]
        field.queryset = RunPlace.objects.filter(run=run, retired_at=None)


class CorrectClinicalForm(forms.Form):
    """The right text, and why the old one was wrong."""

    text = forms.CharField(label=gettext_lazy("Right text"), widget=forms.Textarea(attrs={"autocomplete": "off"}))
    reason = forms.CharField(
        label=REASON, max_length=300, help_text=gettext_lazy("It stands in the log: nothing about health.")
    )
