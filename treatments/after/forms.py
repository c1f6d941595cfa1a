"""What is typed after a run: why it is closed anew, a signature, what a paper may name."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from facility.accounts.password_form import PasswordForm
from facility.papers.printing import SIZES
from treatments.after.signing import ACT_OF, MEANINGS
from treatments.models import SignatureOf

if TYPE_CHECKING:
    from facility.access import Visit


class CloseForm(forms.Form):
    """Closing a record; once more only with a reason."""

    reason = forms.CharField(label=_("Why it is closed anew"), max_length=500)

    def __init__(self, *args: Any, again: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not again:
            del self.fields["reason"]

    @property
    def why(self) -> str:
        """The reason, blank the first time."""
        return str(self.cleaned_data.get("reason", ""))


class SignForm(PasswordForm):
    """A signature: in which capacity, under which state of the record, with the password."""

    capacity = forms.ChoiceField(label=_("I sign as"), widget=forms.RadioSelect)
    comment = forms.CharField(label=_("Comment, nothing about health"), max_length=500, required=False)
    shown = forms.RegexField(r"^[0-9a-f]{64}$", widget=forms.HiddenInput)

    field_order = ("capacity", "comment", "shown", "password")

    def __init__(self, *args: Any, visit: Visit, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["capacity"]
        if isinstance(field, forms.ChoiceField):
            field.choices = [
                (one.value, f"{one.label}: {MEANINGS[one]}") for one in SignatureOf if visit.may(ACT_OF[one])
            ]


class NamingForm(forms.Form):
    """What about patients a paper shall say; nothing without a tick."""

    name = forms.BooleanField(label=_("Name and day of birth of the patient"), required=False)
    clinical = forms.BooleanField(label=_("What was written about health"), required=False)
    size = forms.ChoiceField(label=_("Sheet"), choices=[(name, name) for name in SIZES], required=False)

    def clean(self) -> dict[str, Any]:
        """Ask for at least one tick."""
        data = super().clean() or self.cleaned_data
        if not data.get("name") and not data.get("clinical"):
            raise ValidationError(_("Tick what the paper shall say, or print it without."), code="nothing")
        return data
