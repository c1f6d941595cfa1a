"""Forms of a hand-over."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from facility.accounts.password_form import PasswordForm


class GiveForm(forms.Form):
    """What the record cannot know."""

    expect = forms.CharField(
        label=_("What to expect"), max_length=2000, required=False, widget=forms.Textarea(attrs={"rows": 3}),
        help_text=_("Deliveries, visits, works, weather, a call that may come."),
    )  # fmt: skip
    if_then = forms.CharField(
        label=_("If this happens, do that"), max_length=2000, required=False, widget=forms.Textarea(attrs={"rows": 3}),
        help_text=_("One line each. Name no patient."),
    )  # fmt: skip


class ReceiveForm(PasswordForm):
    """The receiver's own words, and the password."""

    read_back = forms.CharField(
        label=_("What I take over, in my own words"), max_length=1000, widget=forms.Textarea(attrs={"rows": 3})
    )
    shown_version = forms.IntegerField(widget=forms.HiddenInput)

    field_order = ("read_back", "password", "shown_version")
