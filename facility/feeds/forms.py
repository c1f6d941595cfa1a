"""Forms of calendars."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from facility.models import FeedSort


class FeedForm(forms.Form):
    """Which calendar."""

    sort = forms.ChoiceField(label=_("What it shows"), choices=FeedSort.choices, widget=forms.RadioSelect)
