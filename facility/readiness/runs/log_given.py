"""An entry of the log as it comes from a device: JSON in, domain types out, refusals in words."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from facility.http import json_of
from treatments.log.services import Given

if TYPE_CHECKING:
    from django.http import HttpRequest

    from treatments.log.services import Surface

MOST_VALUES = 12
LONGEST_VALUE = 40


class EntryForm(forms.Form):
    """The parts of an entry beside its values. ``by`` is the account that gave it."""

    client_id = forms.UUIDField()
    kind = forms.CharField(max_length=20)
    occupant = forms.IntegerField(required=False)
    depth = forms.CharField(max_length=24, required=False)
    depth_unit = forms.CharField(max_length=8, required=False)
    remark = forms.CharField(max_length=300, required=False)
    clinical = forms.CharField(max_length=20_000, required=False)
    seconds_ago = forms.FloatField(required=False, min_value=0)
    device_at = forms.CharField(max_length=40, required=False)
    clock = forms.CharField(max_length=40, required=False)
    sure = forms.BooleanField(required=False)
    reason = forms.CharField(max_length=500, required=False)
    device = forms.CharField(max_length=40, required=False)
    clock_jumped = forms.BooleanField(required=False)
    text_missing = forms.BooleanField(required=False)
    by = forms.IntegerField(required=False)

    def clean_device_at(self) -> datetime | None:
        """Take an instant with its offset; a device that cannot say one is not asked for it."""
        text = self.cleaned_data["device_at"]
        if not text:
            return None
        try:
            at = datetime.fromisoformat(text)
        except ValueError:
            return None
        return at if at.utcoffset() is not None else None


def read(request: HttpRequest) -> tuple[EntryForm, dict[str, str]]:
    """Return the checked form and the values of an entry.

    Errors: ValidationError in words if it cannot be read.
    """
    try:
        data: Any = json_of(request.body)
    except ValueError:
        data = None
    if not isinstance(data, dict):
        raise ValidationError(
            _("The entry could not be read. Load the page again and enter it once more."), code="json"
        )
    values = data.pop("values", None) or {}
    form = EntryForm({str(name): value for name, value in data.items() if isinstance(value, str | int | float)})
    if not form.is_valid():
        raise ValidationError([f"{name}: {error}" for name, errors in form.errors.items() for error in errors])
    return form, _texts(values)


def _texts(values: Any) -> dict[str, str]:
    if not isinstance(values, dict) or len(values) > MOST_VALUES:
        raise ValidationError(_("The values of the entry could not be read. Enter it once more."), code="values")
    return {str(name)[:LONGEST_VALUE]: str(value)[:LONGEST_VALUE] for name, value in values.items()}


def given_of(form: EntryForm, values: dict[str, str], surface: Surface | None = None) -> Given:
    """Return the entry for the service."""
    data = form.cleaned_data
    return Given(
        client_id=data["client_id"], kind=data["kind"], occupant=data["occupant"], depth=data["depth"],
        depth_unit=data["depth_unit"], values=values, remark=data["remark"], clinical=data["clinical"],
        seconds_ago=data["seconds_ago"] or 0, device_at=data["device_at"], clock=data["clock"], sure=data["sure"],
        reason=data["reason"], device=data["device"], clock_jumped=data["clock_jumped"],
        text_missing=data["text_missing"], surface=surface,
    )  # fmt: skip
