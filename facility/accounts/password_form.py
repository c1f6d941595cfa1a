"""The password once more, before somebody signs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.contrib.auth import authenticate
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from facility import house

if TYPE_CHECKING:
    from django.http import HttpRequest

PROVEN = "second_proof_at"
"""What a session holds in which a second proof was shown."""


class PasswordForm(forms.Form):
    """The password once more, of the person who is signed in; wrong ones are counted like at the door."""

    password = forms.CharField(
        label=_("Your password"), widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}), strip=False
    )

    def __init__(self, *args: Any, request: HttpRequest, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.request = request

    def clean_password(self) -> str:
        password: str = self.cleaned_data["password"]
        asked = self.request.user
        found = authenticate(self.request, username=asked.get_username(), password=password)
        if found is None or found.pk != asked.pk:
            raise ValidationError(
                _("This is not the password of %(who)s. Nothing is lost; type it again."),
                code="password",
                params={"who": asked},
            )
        self._ask_second_proof()
        return password

    def _ask_second_proof(self) -> None:
        """Where the house rule asks, nobody signs who came in with a password alone."""
        if PROVEN in self.request.session or not self.must_prove():
            return
        raise ValidationError(
            _(
                "By house rule nobody signs here with a password alone. Add a second proof under your account, sign in with it, and sign then."
            ),
            code="second",
        )

    def must_prove(self) -> bool:
        """Return whether the house rule of the site that is open asks for a second proof."""
        site = getattr(getattr(self.request, "visit", None), "site", None)
        return site is not None and bool(house.values(site)["second_proof_to_sign"])
