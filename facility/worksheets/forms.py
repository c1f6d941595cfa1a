"""A form for any worksheet: text fields read by the worksheet's own rules."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from facility.compute.worksheet import InputError, Kind
from facility.compute.worksheet_reading import read_one
from facility.worksheets.shown import shown_unit

if TYPE_CHECKING:
    from facility.compute.worksheet import Input, Json, Worksheet

LONG = (Kind.ROWS,)
#: where a unit is typed as the worksheet names it
TYPED_WORDS = (Kind.ROWS, Kind.TEXT)
_APART = re.compile(r"[\s;]+")


class WorksheetForm(forms.Form):
    """One field for each input; ``cleaned_data`` holds what the worksheet takes."""

    def __init__(self, worksheet: Worksheet, *args: Any, **kwargs: Any) -> None:
        """Make the fields."""
        super().__init__(*args, **kwargs)
        self.worksheet = worksheet
        for one in worksheet.inputs:
            self.fields[one.name] = _field(_without_name_of_unit(one, worksheet))

    def clean(self) -> dict[str, Any]:
        """Read each field by the rules of its input; a refusal stands at its field."""
        for one in self.worksheet.inputs:
            try:
                value = as_json(one, self.data.get(one.name, ""))
                read_one(one, value)
            except InputError as fault:
                self.add_error(one.name, fault.reason)
            else:
                self.cleaned_data[one.name] = value
        return self.cleaned_data


def examples(worksheet: Worksheet) -> dict[str, str]:
    """Return the worksheet's examples as typed in its fields."""
    return {one.name: as_typed(one, one.example) for one in worksheet.inputs}


def as_json(one: Input, typed: str) -> Json:
    """Return what was typed in a field as its input takes it; nothing typed is None."""
    words = typed.strip()
    if not words:
        return None
    match one.kind:
        case Kind.NUMBERS:
            return list(_APART.split(words))
        case Kind.YES_NO:
            return {"true": True, "false": False}.get(words, words)
        case Kind.ROWS:
            return [_cells(one, line) for line in words.splitlines() if line.strip()]
        case _:
            return words


def as_typed(one: Input, value: Json) -> str:
    """Return a value as typed in a field; the reverse of as_json()."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return json.dumps(value)
    if isinstance(value, list):
        if one.kind is Kind.ROWS:
            return "\n".join("; ".join(as_typed(part, row[part.name]) for part in one.columns) for row in value)
        return " ".join(str(part) for part in value)
    return str(value)


def _cells(one: Input, line: str) -> dict[str, Json]:
    parts = [part.strip() for part in line.split(";")]
    if len(parts) != len(one.columns):
        columns = "; ".join(column.name for column in one.columns)
        raise InputError(one.name, line, f"on each line: {columns}")
    return {column.name: as_json(column, part) for column, part in zip(one.columns, parts, strict=True)}


def _without_name_of_unit(one: Input, worksheet: Worksheet) -> Input:
    """Return the input without its unit where that is chosen in another field."""
    names = {other.name for other in worksheet.inputs if other.kind in (Kind.CHOICE, Kind.TEXT)}
    return replace(one, unit="") if one.unit in names else one


def _field(one: Input) -> forms.Field:
    """Return the field of one input; what it takes stands below it."""
    label = capfirst(one.name.replace("_", " ")) + (f", {shown_unit(one.unit)}" if one.unit not in ("", "1") else "")
    help_text = "; ".join(filter(None, [_(one.about) if one.about else "", one.allowed]))
    if one.kind not in TYPED_WORDS:
        help_text = shown_unit(help_text)
    if one.kind in (Kind.CHOICE, Kind.YES_NO):
        words = one.choices or ("true", "false")
        choices = [*([("", "")] if one.optional else []), *((word, _choice_word(word)) for word in words)]
        return forms.CharField(label=label, help_text=help_text, required=False, widget=forms.Select(choices=choices))
    widget = forms.Textarea(attrs={"rows": 4}) if one.kind in LONG else forms.TextInput()
    return forms.CharField(label=label, help_text=help_text, required=False, widget=widget)


def _choice_word(word: str) -> str:
    return {"true": _("yes"), "false": _("no")}.get(word, shown_unit(word))
