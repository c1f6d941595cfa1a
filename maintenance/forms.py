"""Forms of upkeep: a defect and its correction."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from facility.fields import DayField, InstantField, day_text, refuse
from facility.models import Chamber, Site
from maintenance.models import Defect, Equipment, GasBank

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
    gas_suspect = forms.TypedChoiceField(
        label=gettext_lazy("Could the gas be wrong?"), required=False, widget=forms.RadioSelect,
        choices=[("no", gettext_lazy("no")), ("yes", gettext_lazy("yes, or I do not know"))],
        coerce=lambda text: text == "yes", empty_value=None,
        help_text=gettext_lazy("If yes: breathe nothing from it, treat it as unanalysed, analyse before anything else."),
    )  # fmt: skip

    class Meta:
        model = Defect
        fields = ["equipment", "bank", "what", "effect", "gas_suspect", "plans", "found_at", "expected_back"]
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

    def clean(self) -> dict[str, Any]:
        typed: dict[str, Any] = super().clean() or self.cleaned_data
        if typed.get("gas_suspect") is None and "gas_suspect" not in self.errors:
            if typed.get("bank"):
                self.add_error("gas_suspect", _("Breathing gas comes from it: say whether the gas could be wrong."))
            typed["gas_suspect"] = False
        return typed

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
