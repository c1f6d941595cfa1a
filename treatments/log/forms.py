"""Forms that change a line of the log: what it should say, and why."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

from django import forms
from django.utils.translation import gettext_lazy as _

from facility.models import PressureUnit
from treatments.compute.log_kinds import KINDS, Asked, Form
from treatments.log.changing import Correction
from treatments.models import LogEntry, RunPlace


class StrikeForm(forms.Form):
    """Why a line is struck through."""

    reason = forms.CharField(label=_("Why it is struck through"), max_length=500)


class CorrectForm(forms.Form):
    """The right line: only what such an entry tells, its time, and why it was wrong."""

    client_id = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, old: LogEntry, **kwargs: Any) -> None:
        kwargs.setdefault("initial", _initial(old))
        super().__init__(*args, **kwargs)
        self.kind = KINDS[old.kind]
        if self.kind.occupant is not Asked.NO:
            people = RunPlace.objects.filter(run=old.run_id, retired_at=None, inside=True)
            self.fields["occupant"] = forms.ModelChoiceField(
                people, label=_("Who"), required=self.kind.occupant is Asked.NEEDED
            )
        if self.kind.depth is not Asked.NO:
            self.fields["depth"] = _text(_("Depth, gauge"), numeric=True)
            self.fields["depth_unit"] = forms.ChoiceField(label=_("Unit"), choices=PressureUnit.choices, required=False)
        for value in self.kind.values:
            self.fields[value.key] = (
                forms.ChoiceField(label=_(value.label), choices=[("", "\u2013"), *value.choices], required=value.needed)
                if value.form is Form.CHOICE
                else _text(f"{_(value.label)}{', ' + value.unit if value.unit else ''}", numeric=True)
            )
        self.fields["remark"] = forms.CharField(label=_("Remark, nothing about health"), max_length=300, required=False)
        self.fields["clock"] = forms.CharField(
            label=_("Right time"), max_length=40, required=False, help_text=_("Empty: its time was right. 15:08 or 15:08:36.")
        )  # fmt: skip
        self.fields["sure"] = forms.BooleanField(label=_("It is right as typed"), required=False)
        self.fields["reason"] = forms.CharField(label=_("Why the line was wrong"), max_length=500)

    def right(self) -> Correction:
        """Return the correction for the service."""
        data = self.cleaned_data
        place = data.get("occupant")
        return Correction(
            client_id=data["client_id"], reason=data["reason"], occupant=place.pk if place else None,
            depth=data.get("depth", ""), depth_unit=data.get("depth_unit", ""),
            values={one.key: data.get(one.key, "") for one in self.kind.values},
            remark=data["remark"], clock=data["clock"], sure=data["sure"],
        )  # fmt: skip


def _text(label: Any, *, numeric: bool) -> forms.CharField:
    attributes = {"inputmode": "decimal", "autocomplete": "off"} if numeric else {}
    return forms.CharField(label=label, max_length=24, required=False, widget=forms.TextInput(attrs=attributes))


def _initial(old: LogEntry) -> dict[str, Any]:
    depth = "" if old.depth is None else f"{old.depth.normalize():f}"
    return {"client_id": uuid4(), "occupant": old.occupant_id, "depth": depth, "depth_unit": old.depth_unit or "fsw",
            "remark": old.remark, **old.values}  # fmt: skip
