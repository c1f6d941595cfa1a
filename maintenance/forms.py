"""Forms of upkeep: a defect, its correction, its return to service."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from facility.fields import DayField, InstantField, day_text
from facility.models import Chamber, Person, Site
from maintenance.models import Defect, Equipment, GasBank
from maintenance.services import Return

if TYPE_CHECKING:
    from datetime import datetime

CLOCK_TOLERANCE_S = 300


def plan_choices(site: Site) -> list[tuple[str, str]]:
    """Return key and name of each plan in force at the site."""
    rows = Chamber.objects.filter(site=site, retired_at=None, plans__retired_at=None, plans__isnull=False)
    return [
        (str(key), str(name))
        for key, name in rows.values_list("plans__key", "plans__name").distinct().order_by("plans__key")
    ]


class DefectForm(forms.ModelForm[Defect]):
    """What is wrong with which item or bank, and what that does to it."""

    found_at = InstantField(label=gettext_lazy("Found at"))
    expected_back = DayField(label=gettext_lazy("Expected back (optional)"), required=False)
    plans = forms.MultipleChoiceField(
        label=gettext_lazy("Only for these plans (optional)"), required=False, widget=forms.CheckboxSelectMultiple,
        help_text=gettext_lazy("None ticked: for every plan that rests on it."),
    )  # fmt: skip

    class Meta:
        model = Defect
        fields = ["equipment", "bank", "what", "effect", "plans", "found_at", "expected_back"]
        widgets = {"effect": forms.RadioSelect, "what": forms.TextInput}

    def open_at(self, site: Site, now: datetime) -> None:
        """Limit the choices to the site and read times in its zone."""
        self.now = now
        choices: Any = self.fields
        choices["equipment"].queryset = Equipment.objects.filter(site=site, retired_at=None)
        choices["bank"].queryset = GasBank.objects.filter(site=site, retired_at=None)
        choices["equipment"].label = _("Item of equipment")
        choices["bank"].label = _("or gas bank")
        choices["effect"].choices = [
            ("stops", _("Out of service: it may not be used")),
            ("limits", _("Restricted: it may be used with limits")),
            ("watch", _("Watch: it may be used, keep an eye on it")),
        ]
        choices["plans"].choices = plan_choices(site)
        choices["found_at"].set_zone(site.zone)
        self.zone = choices["found_at"].zone

    def clean_plans(self) -> list[str] | None:
        return list(self.cleaned_data["plans"]) or None

    def clean_found_at(self) -> datetime:
        found_at: datetime = self.cleaned_data["found_at"]
        if (found_at - self.now).total_seconds() > CLOCK_TOLERANCE_S:
            local = self.now.astimezone(self.zone)
            raise ValidationError(_("This lies after now, %(now)s at the site. Give the time when it was found.")
                                  % {"now": f"{day_text(local)} {local:%H:%M}"})  # fmt: skip
        return found_at

    def refuse(self, error: ValidationError) -> None:
        """Show what a service refused, beside the field where the form has it."""
        refuse(self, error)


class DefectCorrectionForm(DefectForm):
    """A defect's form with the reason of the correction."""

    reason = forms.CharField(label=gettext_lazy("Reason of this correction"), max_length=500)


class ReturnForm(forms.Form):
    """How an item comes back: what was done, the test, the witness."""

    at = InstantField(label=gettext_lazy("Returned at"))
    done = forms.CharField(
        label=gettext_lazy("What was done, and how was it tested"), max_length=300,
        widget=forms.Textarea(attrs={"rows": 3}),
    )  # fmt: skip
    witness = forms.ModelChoiceField(
        Person.objects.none(), label=gettext_lazy("Witness of the test (optional)"), required=False,
        empty_label=gettext_lazy("nobody"), help_text=gettext_lazy("Another person than you."),
    )  # fmt: skip
    alone_because = forms.CharField(
        label=gettext_lazy("Why there was no witness (optional)"), max_length=150, required=False
    )
    shown_version = forms.IntegerField(widget=forms.HiddenInput)

    def open_at(self, site: Site, user_id: int | None, now: datetime) -> None:
        """Offer the people of the site except the one who returns the item."""
        self.now = now
        choices: Any = self.fields
        people = Person.objects.filter(site=site, retired_at=None)
        choices["witness"].queryset = people.exclude(user_id=user_id) if user_id else people
        choices["at"].set_zone(site.zone)

    def clean_at(self) -> datetime:
        at: datetime = self.cleaned_data["at"]
        if (at - self.now).total_seconds() > CLOCK_TOLERANCE_S:
            raise ValidationError(_("This lies after now. Give the time when it came back."))
        return at

    def to_return(self) -> Return:
        """Return what was typed as plain values."""
        typed = self.cleaned_data
        witness = typed["witness"].name if typed["witness"] else ""
        return Return(typed["at"], typed["done"], witness, typed["alone_because"])


def refuse(form: forms.BaseForm, error: ValidationError) -> None:
    """Show what a service refused, beside the field where the form has it."""
    if not hasattr(error, "error_dict"):
        form.add_error(None, error)
        return
    for name, found in error.error_dict.items():
        form.add_error(name if name in form.fields else None, [text for one in found for text in one.messages])
