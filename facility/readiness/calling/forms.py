"""Forms of waivers and of a call-out."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext_lazy as _

from facility.accounts.password_form import PasswordForm
from facility.fields import InstantField
from facility.models import Person
from treatments.models import CallAnswer, Need, Plan

if TYPE_CHECKING:
    from facility.models import Chamber

REASONS = (
    ("", _("another reason, below")),
    ("part", _("a part is on order; the item works")),
    ("test", _("its test is due; the item works")),
    ("person", _("the person is on the way")),
    ("paper", _("the paper is not at hand; it is known to be in date")),
)


class WaiverForm(PasswordForm):
    """What is waived, why, what is done instead, until when, by whom."""

    need = forms.ModelChoiceField(
        Need.objects.none(), label=_("What is waived"), required=False, empty_label=_("the crew"),
    )  # fmt: skip
    plans = forms.MultipleChoiceField(
        label=_("Only for these plans"), required=False, widget=forms.CheckboxSelectMultiple,
        help_text=_("None ticked: for every plan that rests on it."),
    )  # fmt: skip
    accepts = forms.IntegerField(
        label=_("How many are enough meanwhile"), min_value=0, max_value=99, initial=0,
        help_text=_("0: to do without. One that is unread is never relied on."),
    )  # fmt: skip
    without = forms.CharField(
        label=_("For the crew: roles done without"), required=False, max_length=300,
        help_text=_("As the plan names them, by commas. Each stands for one place."),
    )  # fmt: skip
    short = forms.ChoiceField(label=_("Reason"), choices=REASONS, required=False)
    why = forms.CharField(label=_("Reason in words"), max_length=400, widget=forms.Textarea(attrs={"rows": 2}))
    counter_measure = forms.CharField(
        label=_("What is done instead"), max_length=500, widget=forms.Textarea(attrs={"rows": 2})
    )
    ends_at = InstantField(label=_("Until"))
    to_end_of_run = forms.BooleanField(label=_("A run begun in it may go on to its end"), required=False, initial=True)
    granted_by = forms.CharField(label=_("Granted on the telephone by"), max_length=150, required=False)

    field_order = (
        "need", "plans", "accepts", "without", "short", "why", "counter_measure", "ends_at", "to_end_of_run",
        "granted_by", "password",
    )  # fmt: skip

    def open_on(self, chamber: Chamber, *, may_grant: bool) -> None:
        """Offer the needs and plans of a chamber. Whoever may grant needs nobody on the telephone."""
        fields: Any = self.fields
        fields["need"].queryset = Need.objects.filter(chamber=chamber, retired_at=None)
        plans = Plan.objects.filter(chamber=chamber, retired_at=None).order_by("place", "key")
        fields["plans"].choices = [(plan.key, f"{plan.name}, {plan.party}") for plan in plans]
        fields["ends_at"].set_zone(chamber.site.zone)
        if may_grant:
            del fields["granted_by"]
        else:
            fields["granted_by"].required = True

    def clean_without(self) -> list[str]:
        return [word for part in self.cleaned_data["without"].split(",") if (word := part.strip())]

    def reason(self) -> str:
        """Return the short reason, if one was chosen, with the words."""
        short = dict(REASONS).get(self.cleaned_data["short"], "") if self.cleaned_data["short"] else ""
        words = self.cleaned_data["why"].strip()
        return f"{short}: {words}" if short else words


class EndForm(forms.Form):
    """Why something ends."""

    reason = forms.CharField(label=_("Why it ends"), max_length=500)


class AnswerForm(forms.Form):
    """What one person answered."""

    person = forms.IntegerField()
    said = forms.ChoiceField(choices=CallAnswer.choices)
    minutes = forms.IntegerField(label=_("here in, minutes"), min_value=0, max_value=24 * 60, required=False)


class DecideForm(forms.Form):
    """For which table a call is."""

    plan = forms.ModelChoiceField(
        Plan.objects.none(), label=_("Table"), required=False, empty_label=_("not decided"),
    )  # fmt: skip
    shown_version = forms.IntegerField(widget=forms.HiddenInput)

    def open_on(self, chamber: Chamber) -> None:
        """Offer the plans of the chamber."""
        field: Any = self.fields["plan"]
        field.queryset = Plan.objects.filter(chamber=chamber, retired_at=None).order_by("place", "key")


class OverForm(forms.Form):
    """How a call ended."""

    outcome = forms.CharField(label=_("How the call ended"), max_length=300)
    shown_version = forms.IntegerField(widget=forms.HiddenInput)


class AskForm(forms.Form):
    """Another person to ask."""

    person = forms.ModelChoiceField(Person.objects.none(), label=_("Ask another"))

    def open_on(self, chamber: Chamber, asked: list[int]) -> None:
        """Offer the people of the site who were not asked yet."""
        field: Any = self.fields["person"]
        field.queryset = Person.objects.filter(site=chamber.site, retired_at=None).exclude(pk__in=asked)
