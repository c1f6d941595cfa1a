"""Forms of treatment tables: comparing one with the printed handbook, and the editor of a site's own."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError
from django.forms import BaseFormSet, formset_factory
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from facility.accounts.password_form import PasswordForm
from facility.fields import NumberField
from treatments.compute.tables import (
    AIR,
    DEEPEST_FSW,
    FASTEST_FSW_MIN,
    MOST_EXTENSIONS,
    MOST_MINUTES,
    OXYGEN,
    StopClock,
)

if TYPE_CHECKING:
    from collections.abc import Mapping

    from treatments.compute.tables import TableError

SPARE_ROWS = 3
MOST_ROWS, MOST_EXTENSION_ROWS, PARTS = 200, 20, 3
GASES = [("", ""), (OXYGEN, gettext_lazy("O2, oxygen")), (AIR, gettext_lazy("AIR, chamber air"))]
CLOCKS = {
    StopClock.ARRIVAL: gettext_lazy("on arrival at the stop"),
    StopClock.SURFACE: gettext_lazy("first stop on leaving surface: it includes the descent; the others on arrival"),
    StopClock.DEEPER_STEP: gettext_lazy("on leaving the deeper step: a step includes the travel to it"),
}


class ConfirmForm(PasswordForm):
    """Which printed handbook lay beside the page, and the password of the one who compared."""

    handbook = forms.CharField(
        label=gettext_lazy("Handbook, edition and page of the printed copy beside you"), max_length=200,
        help_text=gettext_lazy("For example: diving manual, revision 7, page 17-45."),
    )  # fmt: skip
    compared = forms.BooleanField(label=gettext_lazy("I compared every value on this page with that printed page"))
    shown = forms.CharField(max_length=64, widget=forms.HiddenInput)

    field_order = ("handbook", "compared", "shown", "password")


class ApproveForm(PasswordForm):
    """The password of the second person, and which version was on the page."""

    shown = forms.CharField(max_length=64, widget=forms.HiddenInput)


class WithdrawForm(forms.Form):
    """Why a table or a proposal no longer counts."""

    reason = forms.CharField(label=gettext_lazy("Reason"), max_length=500)


def _number(label: Any, most: float, **more: Any) -> NumberField:
    return NumberField(label=label, min_value=0, max_value=most, max_digits=9, decimal_places=3, **more)


def _float(value: Any) -> float | None:
    return None if value is None else float(value)


class SegmentForm(forms.Form):
    """One row of the table: a stop, or a straight change of depth."""

    start = _number(gettext_lazy("From, fsw"), DEEPEST_FSW, required=False)
    end = _number(gettext_lazy("To, fsw"), DEEPEST_FSW, required=False)
    minutes = _number(gettext_lazy("Minutes"), MOST_MINUTES, required=False)
    gas = forms.ChoiceField(label=gettext_lazy("Gas"), choices=GASES, required=False)

    def clean(self) -> dict[str, Any]:
        """Refuse a row that is filled in part, naming each empty field."""
        typed: dict[str, Any] = super().clean() or self.cleaned_data
        if not self.is_empty():
            for name in ("start", "end", "minutes", "gas"):
                if name not in self.errors and typed.get(name) in (None, ""):
                    self.add_error(name, _("This row is filled in part. Fill this too, or empty the row."))
        return typed

    def is_empty(self) -> bool:
        """Whether nothing was typed in this row."""
        return not any(str(self.data.get(self.add_prefix(name), "")).strip() for name in self.fields)

    def row(self) -> list[Any]:
        """Return the row as a table holds it."""
        typed = self.cleaned_data
        return [_float(typed["start"]), _float(typed["end"]), _float(typed["minutes"]), typed["gas"]]


class ExtensionForm(forms.Form):
    """What one extension adds at a depth, in up to three parts, and how many are allowed."""

    depth = _number(gettext_lazy("At, fsw"), DEEPEST_FSW, required=False)
    allowed = forms.IntegerField(
        label=gettext_lazy("How many"), min_value=1, max_value=MOST_EXTENSIONS, required=False,
        help_text=gettext_lazy("Without a medical officer."),
    )  # fmt: skip
    minutes_1 = _number(gettext_lazy("First part, minutes"), MOST_MINUTES, required=False)
    gas_1 = forms.ChoiceField(label=gettext_lazy("First part, gas"), choices=GASES, required=False)
    minutes_2 = _number(gettext_lazy("Second part, minutes"), MOST_MINUTES, required=False)
    gas_2 = forms.ChoiceField(label=gettext_lazy("Second part, gas"), choices=GASES, required=False)
    minutes_3 = _number(gettext_lazy("Third part, minutes"), MOST_MINUTES, required=False)
    gas_3 = forms.ChoiceField(label=gettext_lazy("Third part, gas"), choices=GASES, required=False)
    left_out = forms.BooleanField(label=gettext_lazy("Its air breaks may be left out"), required=False)

    def clean(self) -> dict[str, Any]:
        """Refuse an extension that is filled in part."""
        typed: dict[str, Any] = super().clean() or self.cleaned_data
        if self.is_empty():
            return typed
        for name in ("depth", "allowed", "minutes_1", "gas_1"):
            if name not in self.errors and typed.get(name) in (None, ""):
                self.add_error(name, _("This extension is filled in part. Fill this too, or empty it."))
        for place in range(2, PARTS + 1):
            if (typed.get(f"minutes_{place}") is None) != (not typed.get(f"gas_{place}")):
                self.add_error(f"minutes_{place}", _("Minutes and gas of a part belong together."))
        return typed

    def is_empty(self) -> bool:
        """Whether nothing was typed."""
        return not any(str(self.data.get(self.add_prefix(name), "")).strip() for name in self.fields)

    def part(self) -> dict[str, Any]:
        """Return the extension as a table holds it."""
        typed = self.cleaned_data
        depth = _float(typed["depth"])
        parts = [(typed[f"minutes_{place}"], typed[f"gas_{place}"]) for place in range(1, PARTS + 1)]
        return {
            "depth": depth, "allowed": typed["allowed"], "breaks_may_be_left_out": typed["left_out"],
            "segments": [[depth, depth, float(minutes), gas] for minutes, gas in parts if minutes is not None],
        }  # fmt: skip


SegmentRows = formset_factory(SegmentForm, extra=SPARE_ROWS, max_num=MOST_ROWS, absolute_max=MOST_ROWS + 50)
ExtensionRows = formset_factory(
    ExtensionForm, extra=1, max_num=MOST_EXTENSION_ROWS, absolute_max=MOST_EXTENSION_ROWS + 20
)


class TableForm(forms.Form):
    """The single values of a site's own table."""

    key = forms.CharField(
        label=gettext_lazy("Key"), max_length=60,
        help_text=gettext_lazy("Small letters, figures and dashes, for example house-oxygen-24."),
    )  # fmt: skip
    title = forms.CharField(label=gettext_lazy("Name of the table"), max_length=120)
    body = forms.CharField(label=gettext_lazy("Who publishes it"), max_length=120)
    revision = forms.CharField(label=gettext_lazy("Edition or revision"), max_length=120)
    source = forms.CharField(
        label=gettext_lazy("Source: book, edition, page; or who decided it"), max_length=300
    )  # fmt: skip
    clock = forms.ChoiceField(
        label=gettext_lazy("When the clock of a stop starts"),
        choices=[(str(key), words) for key, words in CLOCKS.items()],
    )
    descent_to = _number(gettext_lazy("Descent to, fsw"), DEEPEST_FSW)
    descent_rate = _number(gettext_lazy("Descent rate, fsw/min"), FASTEST_FSW_MIN)
    descent_gas = forms.ChoiceField(label=gettext_lazy("Gas during descent"), choices=GASES)
    least = _number(gettext_lazy("Shortest first stop, minutes, if a run may choose it"), MOST_MINUTES, required=False)
    most = _number(gettext_lazy("Longest first stop, minutes; empty: no longest"), MOST_MINUTES, required=False)
    depth_of_relief = forms.BooleanField(
        label=gettext_lazy("The first stop is kept at the depth of relief"), required=False
    )
    total = _number(
        gettext_lazy("Total minutes as printed"), 2 * MOST_MINUTES, required=False,
        help_text=gettext_lazy("The rows must add up to it: a check against a slip of the keyboard. Empty: not printed."),
    )  # fmt: skip

    def parts(self) -> dict[str, Any]:
        """Return the single values as a table holds them."""
        typed = self.cleaned_data
        found: dict[str, Any] = {
            "title": typed["title"], "body": typed["body"], "revision": typed["revision"],
            "stop_time_begins": typed["clock"], "depth_of_relief": typed["depth_of_relief"],
            "descent": {
                "to": float(typed["descent_to"]), "rate": float(typed["descent_rate"]), "gas": typed["descent_gas"],
            },
        }  # fmt: skip
        if typed["least"] is not None:
            found["first_stop"] = {"least": float(typed["least"]), "most": _float(typed["most"])}
        if typed["total"] is not None:
            found["total"] = float(typed["total"])
        return found

    def clean(self) -> dict[str, Any]:
        """Refuse a longest first stop without a shortest."""
        typed: dict[str, Any] = super().clean() or self.cleaned_data
        if typed.get("most") is not None and typed.get("least") is None and "least" not in self.errors:
            self.add_error("least", _("Give the shortest first stop too, or empty the longest."))
        return typed


def initial_of(parts: Mapping[str, Any]) -> tuple[dict[str, Any], list[dict[str, Any]], list[dict[str, Any]]]:
    """Return the initial values of the three forms from the parts of a table."""
    descent, first = parts["descent"], parts.get("first_stop") or {}
    single = {
        "title": parts["title"], "body": parts["body"], "revision": parts["revision"],
        "clock": parts["stop_time_begins"], "descent_to": short(descent["to"]), "descent_rate": short(descent["rate"]),
        "descent_gas": descent["gas"], "least": short(first.get("least")), "most": short(first.get("most")),
        "depth_of_relief": parts.get("depth_of_relief", False), "total": short(parts.get("total")),
    }  # fmt: skip
    rows = [
        {"start": short(start), "end": short(end), "minutes": short(minutes), "gas": gas}
        for start, end, minutes, gas in parts["segments"]
    ]
    return single, rows, [_extension(one) for one in parts.get("extensions", [])]


def _extension(one: Mapping[str, Any]) -> dict[str, Any]:
    found = {
        "depth": short(one["depth"]),
        "allowed": int(one["allowed"]),
        "left_out": one.get("breaks_may_be_left_out"),
    }
    for place, (_start, _end, minutes, gas) in enumerate(one["segments"], 1):
        found |= {f"minutes_{place}": short(minutes), f"gas_{place}": gas}
    return found


def short(value: Any) -> str:
    """Return a number as one would type it."""
    return "" if value is None else f"{float(value):.3f}".rstrip("0").rstrip(".")


_ROW = re.compile(r"segments, row (\d+)(?:, (start fsw|end fsw|minutes|gas))?$")
_FIELDS = {"start fsw": "start", "end fsw": "end", "minutes": "minutes", "gas": "gas"}
_SINGLE = {
    "title": "title", "body": "body", "revision": "revision", "stop_time_begins": "clock", "descent, to": "descent_to",
    "descent, rate": "descent_rate", "descent, gas": "descent_gas", "first_stop, least": "least", "first_stop, most": "most",
    "total": "total",
}  # fmt: skip


def show_refusal(error: TableError, form: TableForm, rows: BaseFormSet[Any], extensions: BaseFormSet[Any]) -> None:
    """Put what read_table() refused beside its field: in the single values, its row, or its extension."""
    told = ValidationError(
        _("%(value)s is refused. Allowed: %(allowed)s."), code="table",
        params={"value": _("Nothing") if error.value is None else error.value, "allowed": error.allowed},
    )  # fmt: skip
    row = _ROW.match(error.what)
    filled = [one for one in rows.forms if not one.is_empty()]
    if row is not None and int(row[1]) <= len(filled):
        filled[int(row[1]) - 1].add_error(_FIELDS.get(row[2] or ""), told)
    elif error.what == "segments, last row, end fsw" and filled:
        filled[-1].add_error("end", told)
    elif error.what in _SINGLE:
        form.add_error(_SINGLE[error.what], told)
    elif error.what.startswith("extension"):
        _at_extension(error, extensions, told)
    else:
        form.add_error(None, ValidationError(f"{error.what}: {told.messages[0]}"))


def _at_extension(error: TableError, extensions: BaseFormSet[Any], told: ValidationError) -> None:
    filled = [one for one in extensions.forms if not one.is_empty()]
    depth = re.search(r"at ([\d.]+) fsw", error.what)
    for one in filled:
        typed = one.cleaned_data.get("depth")
        if typed is not None and float(typed) == float(depth[1] if depth else str(error.value)):
            one.add_error("allowed" if error.what.endswith("allowed") else "depth", told)
            return
    if filled:
        filled[0].add_error(None, told)
