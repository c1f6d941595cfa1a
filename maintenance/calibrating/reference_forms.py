"""Forms of references, their certificates, a laboratory's own certificate, recalls, and two instruments side by side."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from facility.fields import DayField, NumberField, day_text
from maintenance.calibrating.forms import positive
from maintenance.compute.decisions import Verdict
from maintenance.models import Equipment, EquipmentKind, IntervalRule, Recall, Reference, ReferenceCertificate
from maintenance.worksheets.calibration import UNITS

if TYPE_CHECKING:
    from datetime import date

    from facility.models import Site

UNIT_CHOICES = [(one, one) for one in UNITS]
SCAN_HELP = gettext_lazy("PDF, PNG or JPEG. Dates read off a scan count once a second person has confirmed them.")
GAUGES = (EquipmentKind.DEPTH_GAUGE, EquipmentKind.PRESSURE_GAUGE)


class ReferenceForm(forms.ModelForm[Reference]):
    """A reference, the site's own or on loan."""

    return_by = DayField(
        label=gettext_lazy("To be returned by"), required=False, help_text=gettext_lazy("Only on loan.")
    )
    scale_low = NumberField(label=gettext_lazy("Scale from"), max_digits=12, decimal_places=4)
    scale_high = NumberField(label=gettext_lazy("Scale to (optional)"), max_digits=12, decimal_places=4, required=False)
    unit = forms.ChoiceField(label=gettext_lazy("Unit"), choices=UNIT_CHOICES)

    class Meta:
        model = Reference
        fields = ["key", "name", "maker", "serial", "owner", "return_by", "scale_low", "scale_high", "unit",
                  "accuracy_class", "equipment"]  # fmt: skip

    def open_at(self, site: Site) -> None:
        """Offer the items of the site."""
        items: Any = self.fields["equipment"]
        items.queryset = Equipment.objects.current().filter(site=site)
        items.empty_label = _("no, it is kept for comparing only")


class CertificateForm(forms.ModelForm[ReferenceCertificate]):
    """A certificate, as printed."""

    calibrated_on = DayField(label=gettext_lazy("Calibrated on, as printed"))
    due_on = DayField(label=gettext_lazy("Good until, as printed (optional)"), required=False)
    expanded_uncertainty = positive(gettext_lazy("Expanded uncertainty U"), required=True)
    coverage_factor = NumberField(label=gettext_lazy("Coverage factor k"), min_value=1, max_digits=5, decimal_places=2)
    unit = forms.ChoiceField(label=gettext_lazy("Unit of U"), choices=UNIT_CHOICES)
    upload = forms.FileField(label=gettext_lazy("Scan (optional)"), required=False, help_text=SCAN_HELP)

    class Meta:
        model = ReferenceCertificate
        fields = ["number", "issuer", "accreditation", "calibrated_on", "due_on", "expanded_uncertainty",
                  "coverage_factor", "unit", "passed", "rests_on"]  # fmt: skip

    def open_at(self, reference: Reference, today: date) -> None:
        """Offer the certificates that this one may rest on."""
        self.today = today
        rests: Any = self.fields["rests_on"]
        rows = ReferenceCertificate.objects.current().filter(reference__site=reference.site_id)
        rests.queryset = rows.exclude(reference=reference.pk).select_related("reference")
        rests.empty_label = _("none of the site's")

    def clean_calibrated_on(self) -> date:
        day: date = self.cleaned_data["calibrated_on"]
        return not_after(day, self.today)


class CertificateLookForm(forms.Form):
    """The days and figures of a certificate, read by a second person."""

    calibrated_on = DayField(label=gettext_lazy("Calibrated on, as printed"))
    due_on = DayField(label=gettext_lazy("Good until, as printed (empty if none is)"), required=False)
    expanded_uncertainty = positive(gettext_lazy("Expanded uncertainty U"), required=True)
    coverage_factor = NumberField(label=gettext_lazy("Coverage factor k"))

    def compare(self, row: ReferenceCertificate) -> None:
        """Refuse what differs from the first reading, without telling it."""
        for name in self.fields:
            if name not in self.errors and self.cleaned_data.get(name) != getattr(row, name):
                self.add_error(name, _("The first reading says something else. Look at the paper again; if the first is"
                                       " wrong, enter the certificate anew."))  # fmt: skip


class LaboratoryForm(forms.Form):
    """A comparison done elsewhere, by the certificate that came with it."""

    laboratory = forms.CharField(label=gettext_lazy("Laboratory"), max_length=150)
    number = forms.CharField(label=gettext_lazy("Number of the certificate"), max_length=80)
    accreditation = forms.CharField(label=gettext_lazy("Accreditation mark (optional)"), max_length=80, required=False)
    done_on = DayField(label=gettext_lazy("Done on, as printed"))
    due_on = DayField(label=gettext_lazy("Good until, as printed (optional)"), required=False)
    rule = forms.ModelChoiceField(
        IntervalRule.objects.none(), label=gettext_lazy("Counts for this act"), required=False,
        empty_label=gettext_lazy("none: outside any act"),
    )  # fmt: skip
    unit = forms.ChoiceField(label=gettext_lazy("Unit"), choices=UNIT_CHOICES)
    scale_low = NumberField(label=gettext_lazy("Scale from"), max_digits=12, decimal_places=4)
    scale_high = NumberField(label=gettext_lazy("Scale to"), max_digits=12, decimal_places=4)
    as_found = forms.ChoiceField(label=gettext_lazy("As found, it says"), widget=forms.RadioSelect)
    as_left = forms.ChoiceField(label=gettext_lazy("As left, it says"), widget=forms.RadioSelect, required=False)
    adjusted = forms.BooleanField(label=gettext_lazy("It was adjusted"), required=False)
    largest_error = NumberField(
        label=gettext_lazy("Largest error as found (optional)"), required=False, max_digits=12, decimal_places=4,
        help_text=gettext_lazy("Indication less reference, with its sign; for the drift over years."),
    )  # fmt: skip
    left_error = NumberField(
        label=gettext_lazy("The same as left (optional)"), required=False, max_digits=12, decimal_places=4
    )
    limit = positive(gettext_lazy("Its limit (optional)"))
    expanded = positive(gettext_lazy("Its expanded uncertainty U (optional)"))
    upload = forms.FileField(label=gettext_lazy("Scan of the certificate"), help_text=SCAN_HELP)
    note = forms.CharField(label=gettext_lazy("Note (optional)"), max_length=500, required=False)

    def open_at(self, equipment: Equipment, today: date) -> None:
        """Offer the acts of the item and the words of a verdict."""
        self.today = today
        choices: Any = self.fields
        choices["rule"].queryset = (
            IntervalRule.objects.current().filter(equipment=equipment).select_related("equipment")
        )
        said = [(Verdict.PASSED, _("within limits")), (Verdict.FAILED, _("outside limits"))]
        choices["as_found"].choices = said
        choices["as_left"].choices = [("", _("nothing")), *said]

    def clean_done_on(self) -> date:
        day: date = self.cleaned_data["done_on"]
        return not_after(day, self.today)

    def clean(self) -> dict[str, Any]:
        typed: dict[str, Any] = self.cleaned_data
        low, high = typed.get("scale_low"), typed.get("scale_high")
        if low is not None and high is not None and high <= low:
            self.add_error("scale_high", _("%(high)s is not more than the start of the scale, %(low)s. Read the dial.")
                           % {"high": high, "low": low})  # fmt: skip
        due, done = typed.get("due_on"), typed.get("done_on")
        if due and done and due < done:
            self.add_error("due_on", _("%(due)s lies before the day it was done, %(done)s. Read both days again.")
                           % {"due": day_text(due), "done": day_text(done)})  # fmt: skip
        return typed

    def computed(self) -> dict[str, Any]:
        """Return what the certificate says, in the shape of a comparison of our own."""
        typed = self.cleaned_data
        found = self._said(typed["as_found"], typed["largest_error"])
        left = self._said(typed["as_left"], typed["left_error"]) if typed["as_left"] else None
        onward = typed["as_left"] or (None if typed["adjusted"] else typed["as_found"])
        result = {Verdict.PASSED: "passed", Verdict.FAILED: "failed"}[Verdict(onward)] if onward else "could not read"
        return {
            "as_found": found, "as_left": left, "past": typed["as_found"], "onward": onward, "against": [],
            "look_back": typed["as_found"] != Verdict.PASSED, "result": result, "remarks": [],
            "certificate": {"number": typed["number"], "issuer": typed["laboratory"],
                            "accreditation": typed["accreditation"]},
        }  # fmt: skip

    def as_said(self) -> dict[str, Any]:
        """Return what stands where points and components of our own would stand: what the certificate says."""
        typed = self.cleaned_data
        error, expanded = typed["largest_error"], typed["expanded"]
        return {
            "as_found": [{"verdict": typed["as_found"], "largest_error": "" if error is None else str(error)}],
            "means": {"by": "certificate", "expanded": "" if expanded is None else str(expanded)},
        }

    def _said(self, verdict: str, error: Decimal | None) -> dict[str, Any]:
        typed = self.cleaned_data
        expanded = typed["expanded"]
        return {
            "verdict": verdict, "largest_error": "" if error is None else str(error),
            "limit": str(typed["limit"]) if typed["limit"] else "",
            "expanded": None if expanded is None else float(expanded), "points": [], "budget": [],
        }  # fmt: skip


class RecallForm(forms.ModelForm[Recall]):
    """What turned out bad, since when, and how it was found out."""

    last_good_on = DayField(
        label=gettext_lazy("Last day it was known good"),
        help_text=gettext_lazy("Everything after this day is in doubt. Not known: the day before it first came."),
    )  # fmt: skip
    found_on = DayField(label=gettext_lazy("Found bad on"))
    upload = forms.FileField(label=gettext_lazy("Report (optional)"), required=False)

    class Meta:
        model = Recall
        fields = ["reference", "equipment", "last_good_on", "found_on", "why"]

    def open_at(self, site: Site, today: date) -> None:
        """Offer references, and the instruments that others may rest on."""
        self.today = today
        choices: Any = self.fields
        choices["reference"].queryset = Reference.objects.current().filter(site=site)
        kinds = (EquipmentKind.ANALYSER, *GAUGES, EquipmentKind.THERMOMETER)
        choices["equipment"].queryset = Equipment.objects.current().filter(site=site, kind__in=kinds)
        choices["equipment"].label = _("or analyser, gauge or thermometer")

    def clean_found_on(self) -> date:
        day: date = self.cleaned_data["found_on"]
        return not_after(day, self.today)


class AnswerForm(forms.Form):
    """What was decided on chosen things in doubt."""

    subjects = forms.MultipleChoiceField(label=gettext_lazy("In doubt"), widget=forms.CheckboxSelectMultiple)
    stands = forms.ChoiceField(
        label=gettext_lazy("Decided"), widget=forms.RadioSelect,
        choices=[("yes", gettext_lazy("stands after all")), ("no", gettext_lazy("was done again"))],
    )  # fmt: skip
    why = forms.CharField(label=gettext_lazy("Why"), max_length=500, widget=forms.Textarea(attrs={"rows": 3}))


class PairForm(forms.Form):
    """Two gauges on one line, or two clocks over a span."""

    first = forms.ModelChoiceField(Equipment.objects.none(), label=gettext_lazy("One"))
    second = forms.ModelChoiceField(Equipment.objects.none(), label=gettext_lazy("The other"))
    first_reading = NumberField(
        label=gettext_lazy("Reading of the one"), required=False, max_digits=12, decimal_places=4
    )
    second_reading = NumberField(
        label=gettext_lazy("Reading of the other"), required=False, max_digits=12, decimal_places=4
    )
    full_scale = positive(gettext_lazy("Full scale of both"))
    unit = forms.ChoiceField(label=gettext_lazy("Unit"), choices=UNIT_CHOICES, required=False)
    apart_s = NumberField(
        label=gettext_lazy("Seconds the clocks ran apart"), required=False, max_digits=9, decimal_places=2
    )
    span_h = NumberField(label=gettext_lazy("within, hours"), required=False, min_value=Decimal("0.01"), max_value=8760)

    def open_at(self, site: Site, *, clocks: bool) -> None:
        """Offer gauges or clocks, and only their fields."""
        kinds = (EquipmentKind.CLOCK,) if clocks else GAUGES
        rows = Equipment.objects.current().filter(site=site, kind__in=kinds)
        choices: Any = self.fields
        choices["first"].queryset = choices["second"].queryset = rows
        mine, others = ("apart_s", "span_h"), ("first_reading", "second_reading", "full_scale", "unit")
        for name in others if clocks else mine:
            del self.fields[name]
        for name in mine if clocks else others:
            self.fields[name].required = True

    def clean(self) -> dict[str, Any]:
        typed: dict[str, Any] = self.cleaned_data
        if typed.get("first") is not None and typed.get("first") == typed.get("second"):
            self.add_error("second", _("%(tag)s is named twice. Choose another one.") % {"tag": typed["first"].tag})
        if typed.get("full_scale") == 0:
            self.add_error("full_scale", _("Full scale 0: it must be more than 0. Read it off the dials."))
        return typed


def not_after(day: date, today: date) -> date:
    """Return the day. Errors: ValidationError if it lies after today."""
    if day > today:
        raise ValidationError(_("%(day)s lies after today, %(today)s. Read the day again.")
                              % {"day": day_text(day), "today": day_text(today)})  # fmt: skip
    return day
