"""Forms of what one is told: the hour, muting a kind, answering for a thing."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext_lazy as _

from facility.fields import InstantField
from facility.models import NoticeKind, User
from facility.notices.drafts import NEVER_MUTED
from facility.notices.people import answering_at

if TYPE_CHECKING:
    from facility.models import Site

LEFT_OUT = {*NEVER_MUTED, NoticeKind.TEST}


class HourForm(forms.Form):
    """From which hour on the digest may come."""

    hour = forms.TypedChoiceField(
        label=_("The digest of the day comes at"), coerce=int, choices=[(hour, f"{hour:02}:00") for hour in range(24)],
        help_text=_("By the clock of the first site where you have a role."),
    )  # fmt: skip


class AddressForm(forms.Form):
    """Where one's e-mail goes."""

    address = forms.CharField(
        label=_("E-mail address"), max_length=254, required=False,
        widget=forms.EmailInput(attrs={"autocomplete": "email"}),
        help_text=_("Notices go there from every site. Empty: none go by e-mail. The record keeps only its first letter and host."),
    )  # fmt: skip


class MuteForm(forms.Form):
    """Which kind one does not want, and why."""

    kind = forms.ChoiceField(
        label=_("Kind"), choices=[(kind.value, kind.label) for kind in NoticeKind if kind not in LEFT_OUT]
    )
    why = forms.CharField(label=_("Reason"), max_length=300, help_text=_("Kept with the record; directors see it."))


class SnoozeForm(forms.Form):
    """Who answers for a thing, until when, and why."""

    owner = forms.ModelChoiceField(User.objects.none(), label=_("Who answers for it"), empty_label=None)
    until = InstantField(label=_("Until"))
    why = forms.CharField(label=_("Reason"), max_length=300, widget=forms.Textarea(attrs={"rows": 2}))

    def open_at(self, site: Site) -> None:
        """Offer the accounts with a role at a site that may do something there."""
        fields: Any = self.fields
        fields["owner"].queryset = answering_at(site).order_by("last_name", "first_name", "username")
        fields["until"].set_zone(site.zone)
