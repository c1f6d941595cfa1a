"""Forms of drills and procedures."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext_lazy as _

from facility.fields import InstantField
from facility.models import Drill, DrillKind, Person, Procedure

if TYPE_CHECKING:
    from facility.models import Site


class DrillKindForm(forms.ModelForm[DrillKind]):
    """What is practised, and how often by each person."""

    class Meta:
        model = DrillKind
        fields = ["key", "name", "every_days", "goal", "goal_min", "source"]


class DrillForm(forms.ModelForm[Drill]):
    """A drill as it was held."""

    held_at = InstantField(label=_("Held at"))
    people = forms.ModelMultipleChoiceField(
        Person.objects.none(), label=_("Who took part"), required=False, widget=forms.CheckboxSelectMultiple
    )

    class Meta:
        model = Drill
        fields = ["kind", "held_at", "announced", "people", "reached", "minutes", "went_wrong", "actions", "led_by"]

    def open_at(self, site: Site) -> None:
        """Offer the site's kinds and people, and read times in its zone."""
        choices: Any = self.fields
        choices["kind"].queryset = DrillKind.objects.filter(site=site, retired_at=None)
        choices["people"].queryset = Person.objects.filter(site=site, retired_at=None)
        choices["held_at"].set_zone(site.zone)


class ProcedureForm(forms.ModelForm[Procedure]):
    """One version of a procedure."""

    in_force_from = InstantField(label=_("In force from"))
    paper = forms.FileField(label=_("Paper (optional)"), required=False)

    class Meta:
        model = Procedure
        fields = ["key", "title", "text", "paper", "in_force_from", "why"]
        widgets = {"text": forms.Textarea(attrs={"rows": 12})}

    def open_at(self, site: Site, *, key_fixed: bool) -> None:
        """Read times in the site's zone; a later version keeps its key."""
        choices: Any = self.fields
        choices["in_force_from"].set_zone(site.zone)
        if key_fixed:
            choices["key"].disabled = True
            choices["why"].required = True
