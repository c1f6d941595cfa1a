"""Forms of visits, findings and reading links."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext_lazy as _

from facility.fields import DayField, InstantField
from facility.models import Chamber, FindingAnswer, Inspection, Pack, PackState, ReadingLink, VisitFinding

if TYPE_CHECKING:
    from facility.models import Site

SCOPES = (
    ("whole", _("everything below")), ("checks", _("checks alone")), ("plant", _("plant and calibrations alone")),
    ("people", _("people alone")), ("findings", _("findings alone")),
)  # fmt: skip


SHOWN = (("whole", _("everything")), *SCOPES[1:])
"""The same, as a list of links says it."""


class InspectionForm(forms.ModelForm[Inspection]):
    """One visit."""

    visited_on = DayField(label=_("Visited on"))

    class Meta:
        model = Inspection
        fields = ["visited_on", "inspector", "organisation", "code", "pack", "note"]

    def open_at(self, site: Site) -> None:
        """Offer the packs of the site."""
        choices: Any = self.fields["pack"]
        choices.queryset = Pack.objects.filter(site=site, state=PackState.BUILT)


class FindingForm(forms.ModelForm[VisitFinding]):
    """What was found, and by when it is to be answered."""

    due_on = DayField(label=_("To be answered by"))

    class Meta:
        model = VisitFinding
        fields = ["text", "clause", "due_on"]
        widgets = {"text": forms.Textarea(attrs={"rows": 4})}


class AnswerForm(forms.ModelForm[FindingAnswer]):
    """What was done about it, with what proves it."""

    paper = forms.FileField(label=_("Paper or photo (optional)"), required=False)

    class Meta:
        model = FindingAnswer
        fields = ["text", "of_event", "paper"]
        widgets = {"text": forms.Textarea(attrs={"rows": 4})}


class CloseForm(forms.Form):
    """Whoever found it took the answer as enough."""

    closed_on = DayField(label=_("Closed on"))
    closed_by = forms.CharField(label=_("Closed by"), max_length=150)
    closed_note = forms.CharField(label=_("In their words"), max_length=500, required=False)


class LinkForm(forms.ModelForm[ReadingLink]):
    """A reading link: for whom, what it shows, from when, until when."""

    scope = forms.ChoiceField(label=_("Shows"), choices=SCOPES)
    from_day = DayField(label=_("Records from"), required=False)
    opens_at = InstantField(label=_("Opens"))
    ends_at = InstantField(label=_("Ends"))

    class Meta:
        model = ReadingLink
        fields = ["name", "organisation", "chamber", "scope", "from_day", "opens_at", "ends_at"]

    def open_at(self, site: Site) -> None:
        """Offer the site's chambers and read times in its zone."""
        fields: Any = self.fields
        fields["chamber"].queryset = Chamber.objects.filter(site=site, retired_at=None)
        fields["chamber"].empty_label = _("the whole site")
        fields["opens_at"].set_zone(site.zone)
        fields["ends_at"].set_zone(site.zone)


class RevokeForm(forms.Form):
    """Why a link is shut before its end."""

    reason = forms.CharField(label=_("Reason"), max_length=300)


class DayForm(forms.Form):
    """The civil day that is asked about."""

    day = DayField(label=_("Day"))
