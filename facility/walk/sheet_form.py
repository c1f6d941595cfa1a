"""The rows of the sheet editor: from stored steps to texts, from a posted form back to plain steps."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.text import slugify
from django.utils.translation import gettext_lazy as _

from facility.compute.sheets import Effect, Kind
from facility.compute.typed import whole
from facility.fields import InstantField
from facility.models import Chamber, Occasion

if TYPE_CHECKING:
    from collections.abc import Mapping

    from facility.models import Site

TEXTS = ("group", "key", "kind", "text", "unit", "low", "high", "effect", "tag", "bank", "hint", "source", "standing")
LISTS = ("choices", "good")
TRUTHS = ("two_person", "setpoint", "critical")
MOST_ROWS = 220
EMPTY: dict[str, str] = dict.fromkeys((*TEXTS, *LISTS, *TRUTHS), "") | {
    "kind": Kind.LOOK.value,
    "effect": Effect.STOPS.value,
}

Row = dict[str, str]


def rows_of(steps: list[dict[str, Any]]) -> list[Row]:
    """Return stored steps as the texts of the form's fields; a list is written with semicolons."""
    return [EMPTY | {name: _text(value) for name, value in step.items() if name in EMPTY} for step in steps]


def _text(value: Any) -> str:
    if isinstance(value, list):
        return "; ".join(value)
    return "on" if value is True else "" if value in (None, False) else str(value)


def posted_rows(posted: Mapping[str, str]) -> list[Row]:
    """Return the rows of a posted form, in their order on the page."""
    count = min(whole(posted.get("rows")), MOST_ROWS)
    return [{name: posted.get(f"{place}.{name}", "").strip() for name in EMPTY} for place in range(count)]


def steps_from(rows: list[Row]) -> list[dict[str, Any]]:
    """Return rows as plain steps. A row without a text is left out; a missing key is made from the text."""
    taken = {row["key"] for row in rows if row["key"]}
    return [_step(row, taken) for row in rows if row["text"] or row["key"]]


def _step(row: Row, taken: set[str]) -> dict[str, Any]:
    step: dict[str, Any] = {name: row[name] for name in TEXTS if row[name]}
    step |= {name: [word.strip() for word in row[name].split(";") if word.strip()] for name in LISTS if row[name]}
    step |= {name: True for name in TRUTHS if row[name] == "on"}
    if not row["key"]:
        step["key"] = _new_key(row["text"], taken)
    return step


def _new_key(text: str, taken: set[str]) -> str:
    """Return a key that no other step has: the text's own words, numbered where that is needed."""
    base = slugify(text)[:50].strip("-_").replace("_", "-") or "step"
    key, number = base, 2
    while key in taken:
        key, number = f"{base}-{number}", number + 1
    taken.add(key)
    return key


def moved(rows: list[Row], act: str) -> list[Row]:
    """Return the rows after a button such as add-3, remove-3, up-3 or down-3; places count from 0."""
    name, _dash, place_text = act.partition("-")
    place = whole(place_text, -1)
    if not 0 <= place < max(len(rows), 1):
        return rows
    rows = list(rows)
    if name == "add":
        group = rows[place]["group"] if rows else ""
        rows.insert(place + 1, EMPTY | {"group": group})
    elif name == "remove" and rows:
        del rows[place]
    elif name in ("up", "down"):
        other = place + (1 if name == "down" else -1)
        if 0 <= other < len(rows):
            rows[place], rows[other] = rows[other], rows[place]
    return rows


class VersionForm(forms.Form):
    """Who approved a version, why, and from when it is in force."""

    approved_by = forms.CharField(label=_("Approved by"), max_length=150)
    in_force_from = InstantField(label=_("In force from"))
    reason = forms.CharField(label=_("Why it is changed"), max_length=500)
    shown = forms.IntegerField(widget=forms.HiddenInput, min_value=0)

    def __init__(self, *args: Any, zone: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["in_force_from"]
        if isinstance(field, InstantField):
            field.set_zone(zone)


class NewSheetForm(forms.Form):
    """A sheet for a chamber: one of the reference, or an empty one of the site's own."""

    chamber = forms.ModelChoiceField(label=_("Chamber"), queryset=Chamber.objects.none())
    default = forms.ChoiceField(label=_("Sheet"), choices=())
    title = forms.CharField(label=_("Title, for a sheet of your own"), max_length=150, required=False)
    occasion = forms.ChoiceField(label=_("When, for a sheet of your own"), choices=Occasion.choices)
    approved_by = forms.CharField(label=_("Approved by"), max_length=150)

    def __init__(self, *args: Any, site: Site, defaults: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        chamber, default = self.fields["chamber"], self.fields["default"]
        if isinstance(chamber, forms.ModelChoiceField) and isinstance(default, forms.ChoiceField):
            chamber.queryset = Chamber.objects.filter(site=site, retired_at=None)
            default.choices = [*defaults, ("", _("a sheet of our own, empty"))]
            default.required = False

    def clean(self) -> dict[str, Any]:
        data: dict[str, Any] = super().clean() or self.cleaned_data
        if not data.get("default") and not data.get("title"):
            self.add_error("title", _("Give the sheet a title, or choose one of the reference."))
        return data
