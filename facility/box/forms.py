"""Forms of what is done to the box itself."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from facility import house
from facility.accounts.password_form import PasswordForm
from facility.models import Site


class BoxForm(PasswordForm):
    """The password and a reason; a second proof too as soon as one site asks for it, since the box is every site's."""

    reason = forms.CharField(label=_("Reason"), max_length=500)
    field_order: tuple[str, ...] = ("reason", "password")

    def must_prove(self) -> bool:
        """Return whether the house rule of any site asks for a second proof."""
        rules = house.values_of(Site.objects.filter(retired_at=None).values_list("pk", flat=True))
        return any(one["second_proof_to_sign"] for one in rules.values())


class AnewForm(BoxForm):
    """What is asked before a chain of keys is broken."""

    sure = forms.BooleanField(
        label=_(
            "No backup holds the key that is lost. I know that from here on nobody but the new key vouches for itself."
        )
    )
    field_order = ("reason", "sure", "password")
