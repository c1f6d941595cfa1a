"""What a person says about a recorded file: how its columns, times and pressures are meant."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from facility.fields import DayField, NumberField
from treatments.compute.instrument import MOST_BYTES, MOST_ROWS, DepthUnit, Layout, TimeForm

if TYPE_CHECKING:
    from collections.abc import Sequence

LOWEST_KPA, HIGHEST_KPA = 50, 115  # common practice, no source: air pressure where people live
DELIMITERS = [(";", _("semicolon ;")), ("\t", _("tabulator")), (",", _("comma ,")), ("|", _("upright line |"))]
DECIMALS = [(".", _("point: 12.5")), (",", _("comma: 12,5"))]
TIME_FORMS = [
    (TimeForm.SECONDS.value, _("elapsed seconds")),
    (TimeForm.MINUTES.value, _("elapsed minutes")),
    (TimeForm.HMS.value, _("elapsed h:mm:ss")),
    (TimeForm.CLOCK.value, _("clock time hh:mm:ss of the site")),
    (TimeForm.INSTANT.value, _("day and time with zone, such as 2026-03-12T14:05:00+01:00")),
]
UNITS = [
    ("", _("choose")),
    (DepthUnit.FSW.value, _("fsw")),
    (DepthUnit.MSW.value, _("msw")),
    (DepthUnit.KPA.value, _("kPa gauge")),
    (DepthUnit.BAR.value, _("bar gauge")),
    (DepthUnit.PSI.value, _("psi gauge")),
    (DepthUnit.KPA_ABSOLUTE.value, _("kPa absolute")),
    (DepthUnit.BAR_ABSOLUTE.value, _("bar absolute")),
    (DepthUnit.PSI_ABSOLUTE.value, _("psi absolute")),
]


class FileForm(forms.Form):
    """The file that an instrument wrote."""

    upload = forms.FileField(
        label=_("File of the instrument"),
        help_text=_("CSV text, one row a sample; at most %(rows)s rows and %(megabytes)s MB.")
        % {"rows": f"{MOST_ROWS:,}".replace(",", "\u202f"), "megabytes": MOST_BYTES // 1024 // 1024},
    )


class LayoutForm(forms.Form):
    """How the file is meant. The first values are a guess from its first rows."""

    instrument = forms.CharField(
        label=_("Instrument"), max_length=150, help_text=_("Which gauge or recorder, with its tag or serial number.")
    )
    time = forms.TypedChoiceField(label=_("Column of the time"), coerce=int)
    time_form = forms.ChoiceField(label=_("The time is written as"), choices=TIME_FORMS)
    day = DayField(label=_("Day of the first row"), required=False, help_text=_("Of clock times only."))
    depth = forms.TypedChoiceField(label=_("Column of the depth"), coerce=int)
    unit = forms.ChoiceField(label=_("Unit of the depth"), choices=UNITS)
    surface_kpa = NumberField(
        label=_("Pressure at the surface, kPa absolute"), required=False,
        help_text=_("Of absolute units only, as a barometer showed it that day. 1013 hPa is 101.3 kPa."),
    )  # fmt: skip
    gas = forms.TypedChoiceField(label=_("Column of the gas"), coerce=int, required=False, empty_value=None)
    oxygen = forms.TypedChoiceField(label=_("Column of O2 %"), coerce=int, required=False, empty_value=None)
    delimiter = forms.ChoiceField(label=_("Between columns stands"), choices=DELIMITERS)
    decimal = forms.ChoiceField(label=_("Decimal mark"), choices=DECIMALS)
    head_row = forms.IntegerField(label=_("Row with the names of the columns, 0 for none"), min_value=0, max_value=1000)
    first_row = forms.IntegerField(
        label=_("Take from row"), min_value=1, required=False, help_text=_("Empty: the first.")
    )
    last_row = forms.IntegerField(
        label=_("Take up to row"), min_value=1, required=False, help_text=_("Empty: the last.")
    )

    def __init__(self, *args: Any, columns: Sequence[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = [
            (str(place), f"{place + 1}: {name}" if name else str(place + 1)) for place, name in enumerate(columns)
        ]
        for name in ("time", "depth", "gas", "oxygen"):
            field = self.fields[name]
            if isinstance(field, forms.TypedChoiceField):
                field.choices = choices if field.required else [("", _("none")), *choices]

    def clean_surface_kpa(self) -> Any:
        value = self.cleaned_data["surface_kpa"]
        if value is not None and not LOWEST_KPA <= value <= HIGHEST_KPA:
            raise ValidationError(
                _("%(value)s kPa is refused. Allowed: %(low)s to %(high)s kPa absolute. A barometer in hPa shows ten times as much."),
                code="surface", params={"value": value, "low": LOWEST_KPA, "high": HIGHEST_KPA},
            )  # fmt: skip
        return value

    def clean(self) -> dict[str, Any]:
        """Ask for what a choice needs."""
        data = super().clean() or self.cleaned_data
        unit, form = data.get("unit"), data.get("time_form")
        if unit and DepthUnit(unit).absolute and data.get("surface_kpa") is None and "surface_kpa" not in self.errors:
            self.add_error("surface_kpa", _("The unit counts the air above: give its pressure on that day."))
        if form == TimeForm.CLOCK.value and not data.get("day") and "day" not in self.errors:
            self.add_error("day", _("Clock times need the day of the first row."))
        if data.get("time") is not None and data.get("time") == data.get("depth"):
            self.add_error("depth", _("Time and depth cannot stand in one column. Choose another."))
        return data

    def layout(self) -> Layout:
        """Return what was said."""
        data = self.cleaned_data
        surface = data["surface_kpa"]
        return Layout(
            data["delimiter"], data["decimal"], data["head_row"], data["time"], data["depth"],
            TimeForm(data["time_form"]), DepthUnit(data["unit"]), data["gas"], data["oxygen"],
            None if surface is None else float(surface), data["day"], data["first_row"], data["last_row"],
        )  # fmt: skip


def first_values(layout: Layout) -> dict[str, Any]:
    """Return the guess as the first values of the form."""
    return {
        "time": layout.time, "time_form": layout.time_form.value, "depth": layout.depth,
        "unit": layout.unit.value if layout.unit else "", "gas": layout.gas, "oxygen": layout.oxygen,
        "delimiter": layout.delimiter, "decimal": layout.decimal, "head_row": layout.head_row,
    }  # fmt: skip


class StrikeForm(forms.Form):
    """Why a recorded profile no longer counts."""

    reason = forms.CharField(label=_("Why it is struck"), max_length=500)
