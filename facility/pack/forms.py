"""Forms of packs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from facility.fields import DayField, refuse
from facility.models import Pack
from facility.pack import checking, released, scope
from facility.pack.services import PAPERS, refuse_days

if TYPE_CHECKING:
    from facility.models import Site
    from facility.pack.released import Release


class PackForm(forms.ModelForm[Pack]):
    """What a pack is about, for whom and on what ground."""

    from_day = DayField(label=_("From"))
    to_day = DayField(label=_("To, that day included"))
    scope = forms.ChoiceField(label=_("About"))
    paper = forms.ChoiceField(label=_("Paper of the report"), choices=[(name, name) for name in PAPERS])
    releases = forms.CharField(
        label=_("Texts or pictures released one by one (optional)"), required=False, max_length=20_000,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=_("One a line: table, number, field and the reason. Notes and pictures stay back otherwise. "
                    "Example: drills 12 went_wrong asked for in writing on 2 May"),
    )  # fmt: skip

    class Meta:
        model = Pack
        fields = ["from_day", "to_day", "scope", "recipient", "ground", "paper"]
        help_texts = {
            "recipient": _("Who receives it, with the authority or firm."),
            "ground": _("On what ground it is handed over, such as the article of a code or a contract."),
        }

    def open_at(self, site: Site) -> None:
        """Offer what a pack of this site can be about."""
        choice: Any = self.fields["scope"]
        choice.choices = scope.choices(site)

    def clean(self) -> dict[str, Any]:
        """Hold the days against each other here already, where they can be named."""
        given = self.cleaned_data
        if given.get("from_day") and given.get("to_day"):
            try:
                refuse_days(given["from_day"], given["to_day"], self.instance.site)
            except ValidationError as error:
                refuse(self, error)
        return given

    def clean_releases(self) -> list[Release]:
        """Return the releases. Errors: ValidationError naming the line."""
        return released.parsed(self.cleaned_data["releases"])


class VerifyForm(forms.Form):
    """A pack that somebody has received."""

    pack = forms.FileField(label=_("The pack, a zip file"), widget=forms.FileInput(attrs={"accept": ".zip"}))
    fingerprint = forms.CharField(
        label=_("Fingerprint on the wall sheet (if you have it)"), required=False, max_length=200,
        widget=forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false", "autocapitalize": "none"}),
        help_text=_("64 digits and letters a to f. Gaps do not matter."),
    )  # fmt: skip

    def clean_fingerprint(self) -> str:
        """Return it without gaps."""
        try:
            return checking.fingerprint_of(self.cleaned_data["fingerprint"])
        except ValueError as error:
            raise ValidationError(str(error), code="fingerprint") from error
