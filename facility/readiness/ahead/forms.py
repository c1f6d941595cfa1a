"""What would be different: the choices of the what-if page, read as changes of the facts."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from facility.compute.changes import AfterRun, Change, Done, Late, OutOfService, WithoutPerson
from facility.compute.facts import Bank, DueDate, Equipment
from facility.compute.instants import instant_of
from facility.fields import DayField, InstantField
from facility.readiness.ahead.whatif_shell import first_banks

if TYPE_CHECKING:
    from datetime import datetime

    from facility.compute.facts import Facility
    from facility.models import Site
    from facility.readiness.services import Answer

BETWEEN = "|"


class WhatIfForm(forms.Form):
    """Each part may stay empty; what is chosen happens together, in the order of the page."""

    without = forms.MultipleChoiceField(
        label=gettext_lazy("Without these people"), required=False, widget=forms.CheckboxSelectMultiple
    )
    out = forms.MultipleChoiceField(
        label=gettext_lazy("Out of service from now"), required=False, widget=forms.SelectMultiple(attrs={"size": 8})
    )
    late = forms.ChoiceField(label=gettext_lazy("Comes back later than planned"), required=False)
    late_days = forms.IntegerField(label=gettext_lazy("by so many days"), required=False, min_value=1, max_value=3660)
    done = forms.ChoiceField(label=gettext_lazy("Done today"), required=False)
    done_until = DayField(label=gettext_lazy("and then good through"), required=False)
    after = forms.ChoiceField(label=gettext_lazy("After a run of"), required=False)
    after_start = InstantField(label=gettext_lazy("that leaves surface at"), required=False)
    inside = forms.MultipleChoiceField(
        label=gettext_lazy("with these inside"), required=False, widget=forms.CheckboxSelectMultiple
    )

    def open_on(self, answer: Answer, site: Site) -> None:
        """Offer what the facts of the chamber know."""
        self.answer, facts, names = answer, answer.facts, answer.names
        fields: Any = self.fields
        people = [(key, names.people[key].name if key in names.people else key) for key in facts.people]
        items = [(key, names.member(key)) for key, one in facts.members.items() if isinstance(one, Equipment | Bank)]
        items = [pair for pair in items if pair[0] != "chamber"]
        nothing = [("", _("nothing"))]
        fields["without"].choices = fields["inside"].choices = sorted(people, key=lambda pair: pair[1])
        fields["out"].choices = sorted(items, key=lambda pair: pair[1])
        fields["late"].choices = nothing + [pair for pair in items if _absent(facts, pair[0], answer.at)]
        fields["done"].choices = nothing + sorted(
            (f"{key}{BETWEEN}{due.name}", f"{names.member(key)}: {due.name}")
            for key, one in facts.members.items() if isinstance(one, Equipment) for due in one.due
        )  # fmt: skip
        fields["after"].choices = nothing + [(key, f"{row.name}, {row.party}") for key, row in names.plans.items()]
        fields["after_start"].set_zone(site.zone)

    def clean(self) -> dict[str, Any]:
        typed: dict[str, Any] = super().clean() or self.cleaned_data
        for first, second, words in (
            ("late", "late_days", _("Say by how many days it comes later.")),
            ("done", "done_until", _("Say through which day it would then be good.")),
            ("after", "after_start", _("Say when that run would leave surface.")),
        ):
            if typed.get(first) and typed.get(second) is None and second not in self.errors:
                self.add_error(second, ValidationError(words, code="missing"))
        return typed

    def changes(self) -> list[Change]:
        """Return what was chosen, as changes of the facts."""
        typed = self.cleaned_data
        found: list[Change] = []
        if typed["after"]:
            found.append(self._after(typed["after"], typed["after_start"], typed["inside"]))
        found += [WithoutPerson(person) for person in typed["without"] if person not in self._inside(typed)]
        found += [OutOfService(member) for member in typed["out"]]
        if typed["late"]:
            found.append(Late(typed["late"], typed["late_days"]))
        if typed["done"]:
            member, _between, due = typed["done"].partition(BETWEEN)
            found.append(Done(member, due, DueDate(typed["done_until"])))
        return found

    def _inside(self, typed: dict[str, Any]) -> list[str]:
        return list(typed["inside"]) if typed["after"] else []

    def _after(self, plan: str, start: datetime, inside: list[str]) -> AfterRun:
        """A run breathes from the first bank of each gas that its needs name."""
        banks = first_banks(self.answer.facts, plan)
        return AfterRun(plan, instant_of(start), banks, tuple(inside))


def _absent(facts: Facility, name: str, at: int) -> bool:
    member = facts.members[name]
    if not isinstance(member, Equipment | Bank):
        return False
    later_due = any(one.from_ is not None and one.from_ > at for one in member.due)
    return later_due or any(one.until is not None and one.until > at for one in member.defects)
