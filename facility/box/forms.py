"""Forms of what is done to the box itself."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from facility import house
from facility.accounts.password_form import PasswordForm
from facility.fields import InstantField
from facility.models import Site


class BoxForm(PasswordForm):
    """The password and a reason; a second proof too as soon as one site asks for it, since the box is every site's."""

    reason = forms.CharField(label=_("Reason"), max_length=500)
    field_order: tuple[str, ...] = ("reason", "password")

    def must_prove(self) -> bool:
        """Return whether the house rule of any site asks for a second proof."""
        rules = house.values_of(Site.objects.filter(retired_at=None).values_list("pk", flat=True))
        return any(one["second_proof_to_sign"] for one in rules.values())


class ClockForm(BoxForm):
    """What another clock says now, read beside this page."""

    now = InstantField(
        label=_("Time now"), help_text=_("Read it from another clock, such as a watch or a telephone, not from here.")
    )
    field_order = ("now", "reason", "password")

    def __init__(self, *args: Any, zone: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["now"]
        if isinstance(field, InstantField):
            field.set_zone(zone)


class AnewForm(BoxForm):
    """What is asked before a chain of keys is broken."""

    sure = forms.BooleanField(
        label=_(
            "No backup holds the key that is lost. I know that from here on nobody but the new key vouches for itself."
        )
    )
    field_order = ("reason", "sure", "password")
