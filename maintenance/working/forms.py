"""The form of a record of work, one class for every sort of it."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as say
from django.utils.translation import gettext_lazy as _

from facility.fields import DayField, NumberField, day_text
from maintenance.models import IntervalRule
from maintenance.services import same_person
from maintenance.working.fields import DayOrMonthField
from maintenance.working.kinds import Quantity
from maintenance.working.reading_form import ReadingForm

if TYPE_CHECKING:
    from datetime import date

    from maintenance.compute.counters import Reading as Count
    from maintenance.models import Equipment, WorkRecord
    from maintenance.working.kinds import KindOfWork

CURRENCY = re.compile(r"[A-Z]{3}")
WHEN = ("rule", "done_on", "count", "done_by", "witness")
AFTER = ("result", "why_better", "due_on", "note", "upload", "read_off", "cost", "currency", "down_min")
MOST_DOWN_MIN = 5_256_000  # ten years


class WorkForm(ReadingForm):
    """One piece of work on one item: what its sort asks for, who did it, what came of it."""

    rule = forms.ModelChoiceField(IntervalRule.objects.none(), label=_("Under which act (optional)"), required=False,
                                  empty_label=_("none of its acts"))  # fmt: skip
    done_on = DayOrMonthField(
        label=_("Done on"), help_text=_("For example 27 Nov 2026; Nov 2026 where only the month is known.")
    )
    count = NumberField(label=_("Count of its counter then (optional)"), required=False, max_digits=12, decimal_places=2,
                        min_value=0, help_text=_("Running total of the act's counter on that day."))  # fmt: skip
    done_by = forms.CharField(label=_("Done by"), max_length=150)
    witness = forms.CharField(label=_("Witness (optional)"), max_length=150, required=False)
    result = forms.ChoiceField(label=_("Result"), required=False)
    why_better = forms.CharField(
        label=_("Why it is better than the readings say (optional)"), max_length=300, required=False
    )
    due_on = DayField(label=_("Next due, if the paper gives its own day (optional)"), required=False)
    note = forms.CharField(
        label=_("Note (optional)"), max_length=500, required=False, widget=forms.Textarea(attrs={"rows": 2})
    )
    upload = forms.FileField(label=_("Certificate, scan or photo (optional)"), required=False,
                             help_text=_("PDF, JPEG or PNG, at most 10 MB. The file is kept as it is."))  # fmt: skip
    read_off = forms.BooleanField(label=_("The days were read off this paper"), required=False,
                                  help_text=_("They then count once a second person has read them too."))  # fmt: skip
    cost = NumberField(label=_("Cost (optional)"), required=False, max_digits=12, decimal_places=2, min_value=0)
    currency = forms.CharField(
        label=_("Currency (optional)"), max_length=3, required=False, help_text=_("Three letters, such as EUR.")
    )
    down_min = forms.IntegerField(label=_("Time down, minutes (optional)"), min_value=0, max_value=MOST_DOWN_MIN, required=False,
                                  widget=forms.TextInput(attrs={"inputmode": "numeric"}))  # fmt: skip

    def open_at(self, item: Equipment, kind: KindOfWork, today: date, house: dict[str, Any]) -> None:
        """Ask what this sort of work asks on this item."""
        self.item = item
        self.ask(kind, today, house)
        self.last: WorkRecord | None = None
        choices: Any = self.fields
        choices["rule"].queryset = IntervalRule.objects.filter(equipment=item, retired_at=None).select_related(
            "equipment"
        )
        choices["rule"].label_from_instance = lambda rule: rule.name

    def offer(self, last: WorkRecord | None) -> None:
        """Offer limits, units and lasting details of the last such record; never a reading."""
        self.last = last
        if last is None:
            return
        rows = {row["name"]: row for row in last.readings if not row.get("reckoned")}
        for wanted in self.kind.readings:
            row = rows.get(wanted.name)
            if row is None or not isinstance(wanted, Quantity):
                continue
            self._offer_reading(wanted, row)
        for detail in self.kind.details:
            if detail.carry and last.details.get(detail.name) not in (None, ""):
                self.initial.setdefault(f"d_{detail.name}", last.details[detail.name])

    def tell_count(self, newest: Count) -> None:
        """Say beside the count what the counter last showed; it is not filled in."""
        said = say("Last %(value)s, on %(day)s.") % {"value": f"{newest.value:f}", "day": day_text(newest.on)}
        self.fields["count"].help_text = f"{self.fields['count'].help_text} {said}"

    def _offer_reading(self, wanted: Quantity, row: dict[str, Any]) -> None:
        name = f"r_{wanted.name}"
        if len(wanted.units) > 1:
            self.initial.setdefault(f"{name}_unit", row["unit"])
        for side in row.get("typed", ()):
            self.initial.setdefault(f"{name}_{side}", row[side])
        if row["value"] and self.last is not None:
            self.fields[name].help_text = say("Last time %(value)s %(unit)s, on %(day)s.") % {
                "value": row["value"], "unit": row["unit"], "day": day_text(self.last.done_on)
            }  # fmt: skip

    def groups(self) -> list[tuple[str, str, list[forms.BoundField]]]:
        """Return legend, what to mind and fields of each group, in the order of the work."""
        more = [self[name] for name in ("reason",) if name in self.fields]
        return [
            (say("When and who"), "", [self[name] for name in WHEN]), *self.asked(),
            (say("What came of it"), "", [self[name] for name in AFTER] + more),
        ]  # fmt: skip

    def clean_done_on(self) -> tuple[date, bool]:
        day, month_only = self.cleaned_data["done_on"]
        if day > self.today and month_only:
            raise ValidationError(say("This month is not over at the site: type the day."))
        if day > self.today:
            raise ValidationError(say("This lies after today, %(today)s at the site. Give the day it was done.")
                                  % {"today": day_text(self.today)})  # fmt: skip
        return day, month_only

    def clean_currency(self) -> str:
        text: str = self.cleaned_data["currency"].strip().upper()
        if text and not CURRENCY.fullmatch(text):
            raise ValidationError(
                say("“%(text)s” is not a currency. Type its three letters, such as EUR.") % {"text": text}
            )
        return text

    def clean(self) -> dict[str, Any]:
        typed: dict[str, Any] = super().clean() or self.cleaned_data
        if typed.get("cost") is not None and not typed.get("currency") and "currency" not in self.errors:
            self.add_error("currency", say("A cost needs its currency, such as EUR."))
        if typed.get("witness") and same_person(typed["witness"], typed.get("done_by", "")):
            self.add_error(
                "witness",
                say("The witness must be another person than %(name)s, who did it.") % {"name": typed["done_by"]},
            )
        if typed.get("read_off") and not self._has_paper():
            self.add_error("upload", say("Add the paper that the days were read off."))
        self.read(typed, typed.get("done_on") or (self.today, False))
        self._refuse_due_before(typed)
        return typed

    def _refuse_due_before(self, typed: dict[str, Any]) -> None:
        due, done = typed.get("due_on"), typed.get("done_on")
        if due is not None and done is not None and due < done[0]:
            self.add_error("due_on", say("The next day lies before the day it was done. Read both on the paper again."))

    def _has_paper(self) -> bool:
        return bool(self.cleaned_data.get("upload")) or "upload" in self.errors


class WorkCorrectionForm(WorkForm):
    """A record's form with the reason of the correction."""

    reason = forms.CharField(label=_("Reason of this correction"), max_length=500)

    def _has_paper(self) -> bool:
        return super()._has_paper() or self.initial.get("has_paper", False)


class SecondLookForm(forms.Form):
    """The days as a second person reads them off the paper; what was typed first is not shown."""

    done_on = DayOrMonthField(label=_("Done on"), help_text=_("For example 27 Nov 2026, or Nov 2026."))
    due_on = DayField(label=_("Next due on the paper (optional)"), required=False)


class SecondRefusalForm(SecondLookForm):
    """The days as the second person reads them, where the first reading was wrong."""

    reason = forms.CharField(label=_("What was wrong with the first reading"), max_length=500)
