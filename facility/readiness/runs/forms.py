"""Forms of a run: its start and its end."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from facility.fields import InstantField
from facility.models import Person
from treatments.models import Plan, Purpose

if TYPE_CHECKING:
    from datetime import datetime

    from facility.models import Site

CLOCK_TOLERANCE_S = 300


class PlanChoice(forms.ModelChoiceField[Plan]):
    """Plans named with their party and chamber."""

    def label_from_instance(self, obj: Plan) -> str:
        return f"{obj.name}, {obj.party}, {obj.chamber.name}"


class _AtField(forms.Form):
    """A form with one instant that is not in the future."""

    at = InstantField()

    def open_at(self, site: Site, now: datetime) -> None:
        """Read times in the site's zone."""
        self.now = now
        field: Any = self.fields["at"]
        field.set_zone(site.zone)

    def clean_at(self) -> datetime:
        at: datetime = self.cleaned_data["at"]
        if (at - self.now).total_seconds() > CLOCK_TOLERANCE_S:
            raise ValidationError(_("This lies after now. Give the time when it happened."))
        return at


class StartForm(_AtField):
    """How a run begins."""

    plan = PlanChoice(Plan.objects.none(), label=gettext_lazy("Plan"))
    purpose = forms.ChoiceField(label=gettext_lazy("Purpose"), choices=Purpose.choices, widget=forms.RadioSelect)
    supervisor = forms.CharField(label=gettext_lazy("Supervisor"), max_length=150)
    at = InstantField(label=gettext_lazy("Left surface at"))
    reason = forms.CharField(
        label=gettext_lazy("If the plan is Not ready or Not known: why the run starts all the same"), max_length=500, required=False,
        help_text=gettext_lazy("The run is then marked as outside the house rules, with what stood in the way. Nothing is blocked."),
    )  # fmt: skip

    field_order = ("plan", "purpose", "supervisor", "at", "reason")

    def open_at(self, site: Site, now: datetime) -> None:
        super().open_at(site, now)
        field: Any = self.fields["plan"]
        field.queryset = Plan.objects.filter(chamber__site=site, retired_at=None).select_related("chamber")


class EndForm(_AtField):
    """How a run ends, and who was inside."""

    at = InstantField(label=gettext_lazy("Reached surface at"))
    inside = forms.ModelMultipleChoiceField(
        Person.objects.none(), label=gettext_lazy("Crew who were inside"), required=False, widget=forms.CheckboxSelectMultiple,
        help_text=gettext_lazy("Each of them waits as the plan says before going under pressure again."),
    )  # fmt: skip
    nobody = forms.BooleanField(label=gettext_lazy("Nobody of the crew was inside"), required=False)

    def open_at(self, site: Site, now: datetime) -> None:
        super().open_at(site, now)
        field: Any = self.fields["inside"]
        field.queryset = Person.objects.filter(site=site, retired_at=None)

    def clean(self) -> dict[str, Any]:
        typed: dict[str, Any] = super().clean() or self.cleaned_data
        if bool(typed.get("inside")) == bool(typed.get("nobody")):
            self.add_error("inside", _("Tick who was inside, or that nobody of the crew was: one of the two."))
        return typed
