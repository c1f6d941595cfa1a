"""Forms of the way back: what was repaired with which parts, and the test before the tag comes off."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as say
from django.utils.translation import gettext_lazy as _

from facility.accounts.password_form import PasswordForm
from facility.fields import InstantField, NumberField
from facility.models import Person
from maintenance.forms import CLOCK_TOLERANCE_S
from maintenance.models import IntervalRule
from maintenance.services import Return
from maintenance.working.forms import CURRENCY
from maintenance.working.kinds_general import CLEANED
from maintenance.working.reading_form import ReadingForm

if TYPE_CHECKING:
    from datetime import date, datetime

    from facility.models import Site
    from maintenance.models import Defect
    from maintenance.working.kinds import KindOfWork

PARTS = 4
PART = ("part", "serial", "cleaned_for_oxygen", "certificate")


class RepairForm(forms.Form):
    """What was done about a defect, by whom, with which parts."""

    done_at = InstantField(label=_("Done at"))
    done_by = forms.CharField(label=_("Done by"), max_length=150)
    what = forms.CharField(label=_("What was done"), max_length=500, widget=forms.Textarea(attrs={"rows": 3}),
                           help_text=_("Also where nothing had to be changed: say what was found."))  # fmt: skip
    nothing_changed = forms.BooleanField(label=_("Nothing was opened, changed or replaced"), required=False)
    upload = forms.FileField(label=_("Certificate of the parts (optional)"), required=False,
                             help_text=_("PDF, JPEG or PNG, at most 10 MB. The file is kept as it is."))  # fmt: skip
    cost = NumberField(label=_("Cost (optional)"), required=False, max_digits=12, decimal_places=2, min_value=0)
    currency = forms.CharField(
        label=_("Currency (optional)"), max_length=3, required=False, help_text=_("Three letters, such as EUR.")
    )

    def open_at(self, site: Site, now: datetime) -> None:
        """Read times in the site's zone and ask for parts."""
        self.now = now
        choices: Any = self.fields
        choices["done_at"].set_zone(site.zone)
        for number in range(1, PARTS + 1):
            self.fields[f"part_{number}"] = forms.CharField(
                label=say("Part (optional)"), max_length=120, required=False
            )
            self.fields[f"serial_{number}"] = forms.CharField(
                label=say("Serial number (optional)"), max_length=80, required=False
            )
            self.fields[f"cleaned_for_oxygen_{number}"] = forms.ChoiceField(
                label=say("Cleaned for oxygen"), choices=[("", say("not said")), *CLEANED], required=False
            )
            self.fields[f"certificate_{number}"] = forms.CharField(
                label=say("Number of its certificate (optional)"), max_length=80, required=False
            )

    def groups(self) -> list[tuple[str, str, list[forms.BoundField]]]:
        """Return legend, what to mind and fields of each group."""
        parts = [
            (say("Part %(n)d, where there is one") % {"n": number}, "", [self[f"{name}_{number}"] for name in PART])
            for number in range(1, PARTS + 1)
        ]
        first = (say("What was done"), "", [self[name] for name in ("done_at", "done_by", "what", "nothing_changed")])
        return [first, *parts, (say("Paper and cost"), "", [self[name] for name in ("upload", "cost", "currency")])]

    def clean_done_at(self) -> datetime:
        at: datetime = self.cleaned_data["done_at"]
        if (at - self.now).total_seconds() > CLOCK_TOLERANCE_S:
            raise ValidationError(say("This lies after now. Give the time when it was done."))
        return at

    def clean(self) -> dict[str, Any]:
        typed: dict[str, Any] = super().clean() or self.cleaned_data
        currency = (typed.get("currency") or "").strip().upper()
        if (typed.get("cost") is not None or currency) and not CURRENCY.fullmatch(currency):
            self.add_error(
                "currency",
                say("“%(text)s” is not a currency. Type its three letters, such as EUR.") % {"text": currency},
            )
        typed["currency"] = currency
        if typed.get("nothing_changed") and any(typed.get(f"part_{number}") for number in range(1, PARTS + 1)):
            self.add_error("nothing_changed", say("Parts are named below: then something was changed."))
        typed["parts"] = [part for number in range(1, PARTS + 1) if (part := self._part(number, typed))]
        return typed

    def _part(self, number: int, typed: dict[str, Any]) -> dict[str, str]:
        found = {name: (typed.get(f"{name}_{number}") or "").strip() for name in PART}
        if not any(found.values()):
            return {}
        if not found["part"]:
            self.add_error(f"part_{number}", say("Say which part it was."))
        if not found["cleaned_for_oxygen"]:
            self.add_error(
                f"cleaned_for_oxygen_{number}", say("Say whether the part was cleaned for oxygen, or need not be.")
            )
        return found


class ReturnForm(PasswordForm, ReadingForm):
    """The test before the tag comes off: conditions, readings, result, witness, signed with the password."""

    at = InstantField(label=_("Returned at"))
    done = forms.CharField(
        label=_("How was it tested"), max_length=300, widget=forms.Textarea(attrs={"rows": 3}),
    )  # fmt: skip
    rule = forms.ModelChoiceField(IntervalRule.objects.none(), label=_("The test counts as this act too (optional)"),
                                  required=False, empty_label=_("none of its acts"))  # fmt: skip
    result = forms.ChoiceField(label=_("Result"), required=False)
    why_better = forms.CharField(
        label=_("Why it is better than the readings say (optional)"), max_length=300, required=False
    )
    witness = forms.ModelChoiceField(
        Person.objects.none(), label=_("Witness of the test (optional)"), required=False, empty_label=_("nobody"),
        help_text=_("Another person than you and than the one who repaired it."),
    )  # fmt: skip
    alone_because = forms.CharField(label=_("Why there was no witness (optional)"), max_length=150, required=False)
    shown_version = forms.IntegerField(widget=forms.HiddenInput)

    def open_at(self, row: Defect, user_id: int | None, now: datetime) -> None:
        """Offer the people of the site except the one who returns the item, and the acts of the item."""
        self.now = now
        choices: Any = self.fields
        people = Person.objects.filter(site=row.site, retired_at=None)
        choices["witness"].queryset = people.exclude(user_id=user_id) if user_id else people
        choices["at"].set_zone(row.site.zone)
        choices["rule"].queryset = IntervalRule.objects.filter(
            equipment=row.equipment_id, retired_at=None
        ).select_related("equipment")
        choices["rule"].label_from_instance = lambda rule: rule.name
        if row.equipment_id is None:
            del self.fields["rule"]

    def start(self, kind: KindOfWork, today: date) -> None:
        """Ask for the readings of the test."""
        self.ask(kind, today, {})

    def groups(self) -> list[tuple[str, str, list[forms.BoundField]]]:
        """Return legend, what to mind and fields of each group."""
        first = [self[name] for name in ("at", "done", "rule") if name in self.fields]
        last = [self[name] for name in ("result", "why_better", "witness", "alone_because")]
        signing = (
            say("Signature"),
            say("Your password signs it: “I tested it as written here, and this is what I saw.”"),
            [self["password"]],
        )
        return [
            (say("The test"), "", first),
            *self.asked(),
            (say("What came of it, and who watched"), "", last),
            signing,
        ]

    def clean_at(self) -> datetime:
        at: datetime = self.cleaned_data["at"]
        if (at - self.now).total_seconds() > CLOCK_TOLERANCE_S:
            raise ValidationError(say("This lies after now. Give the time when it came back."))
        return at

    def clean(self) -> dict[str, Any]:
        typed: dict[str, Any] = super().clean() or self.cleaned_data
        self.read(typed, (self.today, False))
        return typed

    def to_return(self) -> Return:
        """Return what was typed as plain values."""
        typed = self.cleaned_data
        witness = typed["witness"].name if typed["witness"] else ""
        return Return(typed["at"], typed["done"], witness, typed["alone_because"])
