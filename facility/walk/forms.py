"""What comes from the pages of a check, as domain types."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from facility.accounts.password_form import PasswordForm
from facility.compute.sheets import Typed
from facility.fields import InstantField
from facility.http import json_of
from facility.walk.answering import Given

if TYPE_CHECKING:
    from django.http import HttpRequest

    from facility.models import Evidence

MONTH_S = 30 * 24 * 3600


class AnswerForm(forms.Form):
    """One answer, from a device's script or from a plain form. ``by`` is the account that gave it."""

    client_id = forms.UUIDField()
    step = forms.CharField(max_length=60)
    outcome = forms.CharField(max_length=10, required=False)
    value = forms.CharField(max_length=40, required=False)
    choice = forms.CharField(max_length=60, required=False)
    unit = forms.CharField(max_length=12, required=False)
    note = forms.CharField(max_length=500, required=False)
    second = forms.IntegerField(required=False)
    sure = forms.BooleanField(required=False)
    seconds_ago = forms.IntegerField(required=False, min_value=0, max_value=MONTH_S)
    by = forms.IntegerField(required=False)
    photo = forms.FileField(required=False)

    def typed(self) -> Typed:
        """Return what the person gave."""
        data = self.cleaned_data
        return Typed(data["outcome"], data["value"], data["choice"], data["unit"], sure=data["sure"])

    def given(self, photo: Evidence | None) -> Given:
        """Return the answer for the service."""
        data = self.cleaned_data
        return Given(
            data["client_id"], data["step"], self.typed(), data["note"], data["second"], photo, data["seconds_ago"] or 0
        )


def answer_form(request: HttpRequest) -> AnswerForm:
    """Return the bound form of a request in JSON or of a plain form.

    Errors: ValidationError if the JSON cannot be read.
    """
    if request.content_type != "application/json":
        return AnswerForm(request.POST, request.FILES)
    try:
        data: Any = json_of(request.body)
    except ValueError:
        raise ValidationError(
            _("The entry could not be read. Load the page again and enter it once more."), code="json"
        ) from None
    if not isinstance(data, dict):
        raise ValidationError(_("The entry is not an object. Load the page again and enter it once more."), code="json")
    return AnswerForm({str(name): value for name, value in data.items() if isinstance(value, str | int | bool)})


class SignForm(PasswordForm):
    """Signing: the password, and which state of the check was on the page."""

    shown = forms.RegexField(r"^[0-9a-f]{64}$", widget=forms.HiddenInput)
    seen = forms.RegexField(r"^[0-9d,]*$", widget=forms.HiddenInput, required=False)

    def what_was_seen(self) -> frozenset[str]:
        """Return the marks of the answers and defects that were on the page."""
        return frozenset(str(self.data.get("seen", "")).split(","))


class CorrectForm(forms.Form):
    """The right value of an answer, and why the old one was wrong."""

    client_id = forms.UUIDField(widget=forms.HiddenInput)
    value = forms.CharField(label=_("Right reading"), max_length=40, required=False)
    outcome = forms.CharField(label=_("Right answer"), max_length=10, required=False)
    choice = forms.CharField(label=_("Right choice"), max_length=60, required=False)
    sure = forms.BooleanField(label=_("The reading is right as typed"), required=False)
    reason = forms.CharField(label=_("Why the old value was wrong"), max_length=500)


class GiveUpForm(forms.Form):
    """Why a check ends without a signature."""

    reason = forms.CharField(label=_("Why it is given up"), max_length=500)


class PaperHeadForm(PasswordForm):
    """When a paper check was done, by whom, its scan, and the password of the one who keys it in."""

    done_at = InstantField(label=_("Done at, as on the paper"))
    done_by = forms.CharField(label=_("Done by, as on the paper"), max_length=150)
    second = forms.CharField(label=_("Second person, as on the paper"), max_length=150, required=False)
    scan = forms.FileField(
        label=_("Photo or scan of the paper"),
        required=False,
        help_text=_("PDF, PNG or JPEG. The record counts without it too."),
    )
    client_id = forms.UUIDField(widget=forms.HiddenInput)

    field_order = ("done_at", "done_by", "second", "scan", "client_id", "password")

    def __init__(self, *args: Any, zone: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["done_at"]
        if isinstance(field, InstantField):
            field.set_zone(zone)
