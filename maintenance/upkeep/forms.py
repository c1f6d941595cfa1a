"""Forms of upkeep: a counter's reading, a replaced meter, an event, a look that puts off."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from facility.fields import DayField, InstantField, NumberField, day_text
from maintenance.models import CounterReading, Deferral, Equipment, Happening, MeterReplacement

if TYPE_CHECKING:
    from datetime import date, datetime

    from facility.models import Site

CLOCK_TOLERANCE_S = 300


def refuse_future(on: date | None, today: date) -> date | None:
    """Return a day that is not after today. Errors: ValidationError naming both days."""
    if on is not None and on > today:
        said = {"on": day_text(on), "today": day_text(today)}
        raise ValidationError(_("%(on)s lies after today, %(today)s at the site. Give the day when it was.") % said)
    return on


class ProofForm(forms.ModelForm[Any]):
    """A form with a file as proof and days that lie not after today."""

    today: date

    def open_at(self, site: Site, today: date) -> None:
        """Keep the day at the site; days after it are refused."""
        self.site, self.today = site, today


class ReadingForm(forms.ModelForm[CounterReading]):
    """What a counter showed, and when."""

    read_at = InstantField(label=gettext_lazy("Read at"))
    value = NumberField(label=gettext_lazy("It shows"), min_value=0, max_digits=12, decimal_places=2)

    class Meta:
        model = CounterReading
        fields = ["read_at", "value", "read_by", "note"]

    def open_at(self, site: Site, now: datetime) -> None:
        """Read times in the site's zone."""
        self.now = now
        choices: Any = self.fields
        choices["read_at"].set_zone(site.zone)

    def clean_read_at(self) -> datetime:
        read_at: datetime = self.cleaned_data["read_at"]
        if (read_at - self.now).total_seconds() > CLOCK_TOLERANCE_S:
            raise ValidationError(_("This lies after now. Give the time when it was read."))
        return read_at


class ReplaceForm(ProofForm):
    """A replaced or set meter, and the reading that was typed before, if one was."""

    replaced_on = DayField(label=gettext_lazy("Replaced on"))
    last_of_old = NumberField(
        label=gettext_lazy("Last value of the old meter"), max_digits=12, decimal_places=2, min_value=0
    )
    first_of_new = NumberField(
        label=gettext_lazy("First value of the new meter"), max_digits=12, decimal_places=2, min_value=0
    )
    value = NumberField(
        label=gettext_lazy("It shows now (optional)"), max_digits=12, decimal_places=2, min_value=0, required=False,
        help_text=gettext_lazy("Stored as a reading of the new meter."),
    )  # fmt: skip
    proof = forms.FileField(label=gettext_lazy("Proof: photo or report (optional)"), required=False)

    class Meta:
        model = MeterReplacement
        fields = ["replaced_on", "last_of_old", "first_of_new", "why", "done_by"]

    def clean_replaced_on(self) -> date | None:
        return refuse_future(self.cleaned_data["replaced_on"], self.today)


class HappeningForm(ProofForm):
    """What happened to an item."""

    happened_on = DayField(label=gettext_lazy("On"))

    class Meta:
        model = Happening
        fields = ["equipment", "kind", "happened_on", "note", "reported_by"]

    def open_at(self, site: Site, today: date) -> None:
        """Offer the site's items."""
        super().open_at(site, today)
        choices: Any = self.fields
        choices["equipment"].queryset = Equipment.objects.filter(site=site, retired_at=None)
        choices["equipment"].label = _("Item of equipment")

    def clean_happened_on(self) -> date | None:
        return refuse_future(self.cleaned_data["happened_on"], self.today)


class PutOffForm(ProofForm):
    """A look, and that the act is put off because of it."""

    looked_on = DayField(label=gettext_lazy("Looked at on"))
    no_damage = forms.TypedChoiceField(
        label=gettext_lazy("What the look found"), widget=forms.RadioSelect, coerce=lambda word: word == "yes",
        choices=[
            ("yes", gettext_lazy("no corrosion or damage: put the act off")),
            ("no", gettext_lazy("corrosion or damage: it may not be put off any more")),
        ],
    )  # fmt: skip
    proof = forms.FileField(label=gettext_lazy("Report (optional)"), required=False)

    class Meta:
        model = Deferral
        fields = ["looked_on", "no_damage", "looked_by", "approved_by", "why"]

    def clean_looked_on(self) -> date | None:
        return refuse_future(self.cleaned_data["looked_on"], self.today)
