"""Forms of drills and procedures."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext_lazy as _

from facility.fields import InstantField
from facility.models import Drill, DrillKind, Person, Procedure
from treatments.models import RunRole

if TYPE_CHECKING:
    from facility.models import Site

ROLE = "role_"
#: a drill without a role is practice for every qualification that the person holds
ROLES = [("", _("any role")), *((value, label) for value, label in RunRole.choices if value != RunRole.PATIENT)]


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
        for person in choices["people"].queryset:
            self.fields[f"{ROLE}{person.pk}"] = forms.ChoiceField(
                label=_("%(name)s took part as") % {"name": person.name}, choices=ROLES, required=False
            )

    def roles(self) -> dict[int, str]:
        """Return the role of each person who was given one, by the person's number."""
        given = {name: role for name, role in self.cleaned_data.items() if name.startswith(ROLE) and role}
        return {int(name.removeprefix(ROLE)): role for name, role in given.items()}

    def clean(self) -> dict[str, Any]:
        """Refuse a role for somebody who is not ticked: one of the two is a slip."""
        data = super().clean() or self.cleaned_data
        present = {person.pk for person in data.get("people", ())}
        for pk in set(self.roles()) - present:
            self.add_error(f"{ROLE}{pk}", _("This person is not ticked above. Tick them, or leave the role empty."))
        return data


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
