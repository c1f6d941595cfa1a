"""Forms of near misses and of a freeze."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from facility.accounts.password_form import PasswordForm
from facility.fields import DayField, InstantField
from treatments.models import NearMiss, NearMissAction

if TYPE_CHECKING:
    from datetime import date

    from facility.models import Site


class NearMissForm(forms.ModelForm[NearMiss]):
    """What happened, where, what could have been. Nobody has to give a name."""

    happened_on = DayField(label=gettext_lazy("On which day (optional)"), required=False)

    class Meta:
        model = NearMiss
        fields = ["what", "where", "could_have", "happened_on", "reporter"]
        widgets = {
            "what": forms.Textarea(attrs={"rows": 4}), "could_have": forms.Textarea(attrs={"rows": 3}),
            "where": forms.TextInput,
        }  # fmt: skip
        labels = {
            "what": gettext_lazy("What happened"), "where": gettext_lazy("Where (optional)"),
            "could_have": gettext_lazy("What could have been (optional)"),
            "reporter": gettext_lazy("Your name (optional)"),
        }  # fmt: skip
        help_texts = {"what": gettext_lazy("Name no patient: what happened is enough.")}

    def open_on(self, today: date) -> None:
        """Take days up to ``today``."""
        self.today = today

    def clean_happened_on(self) -> date | None:
        day: date | None = self.cleaned_data["happened_on"]
        if day is not None and day > self.today:
            raise ValidationError(_("This day lies after today. Give the day when it happened, or leave it empty."))
        return day


class ActionForm(forms.ModelForm[NearMissAction]):
    """What is done about a near miss."""

    due_on = DayField(label=gettext_lazy("Until (optional)"), required=False)

    class Meta:
        model = NearMissAction
        fields = ["what", "by_whom", "due_on", "closes"]
        widgets = {"what": forms.Textarea(attrs={"rows": 3})}


class FreezeForm(PasswordForm):
    """When the event was, what happened, and the password once more."""

    event_at = InstantField(label=gettext_lazy("Time of the event"))
    why = forms.CharField(
        label=gettext_lazy("What happened"), max_length=500, widget=forms.Textarea(attrs={"rows": 3}),
        help_text=gettext_lazy("Name no patient: the run's own names are enough."),
    )  # fmt: skip

    field_order = ("event_at", "why", "password")

    def open_at(self, site: Site) -> None:
        """Read times in the site's zone."""
        field: Any = self.fields["event_at"]
        field.set_zone(site.zone)
