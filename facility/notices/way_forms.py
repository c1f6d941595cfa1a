"""The form that adds a way."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from facility.models import Way


class WayForm(forms.Form):
    """Where somebody wants to be told; whoever keeps the accounts may also add the site's own."""

    MINE, SITE = "mine", "site"

    whose = forms.ChoiceField(
        label=_("Who is told"), choices=[(MINE, _("I am")), (SITE, _("whoever reads it for the site"))],
        widget=forms.RadioSelect, initial=MINE,
    )  # fmt: skip
    way = forms.ChoiceField(label=_("Way"), choices=Way.choices, widget=forms.RadioSelect, initial=Way.EMAIL)
    address = forms.CharField(
        label=_("Address"), max_length=500,
        help_text=_("An e-mail address, or https://push.example.org/our-topic"),
    )  # fmt: skip
    secret = forms.CharField(
        label=_("Token of the push server"), max_length=200, required=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "off"}, render_value=False),
        help_text=_("Only for push, and only where the server asks for one. It is shown nowhere."),
    )  # fmt: skip

    def __init__(self, *args: Any, for_site: bool, **options: Any) -> None:
        super().__init__(*args, **options)
        if not for_site:
            del self.fields["whose"]

    @property
    def is_for_site(self) -> bool:
        """Whether the way is to be the site's own."""
        return bool(self.cleaned_data.get("whose") == self.SITE)
