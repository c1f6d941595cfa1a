"""What the forms of the gas room share: times of the site, doubts asked once, parameters of an analysis."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from facility.compute.units import kpa_from
from facility.fields import InstantField, NumberField, day_text
from facility.reference import units
from maintenance.compute.gas import COLDEST_C, HIGHEST_KPA, WARMEST_C
from maintenance.compute.gas_limits import Odour
from maintenance.gas_room.limits import PARAMETERS
from maintenance.models import Equipment, EquipmentKind

if TYPE_CHECKING:
    from datetime import datetime

    from facility.access import Visit
    from facility.models import Site

CLOCK_TOLERANCE_S = 300
SURE = "sure"
FILE_HELP = gettext_lazy("PDF, JPEG or PNG, at most 10 MB.")


class GasForm(forms.Form):
    """What the forms here share: times in the site's zone, none in the future, doubts asked about once."""

    past: tuple[str, ...] = ()

    def open_at(self, visit: Visit, now: datetime) -> None:
        """Limit the choices to the site and read times in its zone."""
        self.site: Site = visit.site
        self.now = now
        for field in self.fields.values():
            if isinstance(field, InstantField):
                field.set_zone(visit.site.zone)

    def clean(self) -> dict[str, Any]:
        typed: dict[str, Any] = super().clean() or self.cleaned_data
        for name in self.past:
            at = typed.get(name)
            if at is not None and (at - self.now).total_seconds() > CLOCK_TOLERANCE_S:
                field: Any = self.fields[name]
                local = self.now.astimezone(field.zone)
                shown = f"{day_text(local)} {local:%H:%M}"
                self.add_error(name, _("This lies after now, %s at the site. Give the time when it happened.") % shown)
        self._ask_doubts(list(self.doubts(typed)))
        return typed

    def doubts(self, typed: dict[str, Any]) -> list[tuple[str, str]]:
        """Return fields with what is doubtful about them."""
        return []

    def _ask_doubts(self, found: list[tuple[str, str]]) -> None:
        token = " ".join(f"{name}={self.cleaned_data[name]}" for name, _words in found)
        if not found or self.errors or self.data.get(SURE) == token:
            return
        self.fields[SURE] = forms.BooleanField(
            label=gettext_lazy("I looked again: it is as typed."), required=False,
            widget=forms.CheckboxInput(attrs={"value": token}, check_test=lambda value: value == token),
        )  # fmt: skip
        for name, words in found:
            self.add_error(name, _("%(doubt)s Correct it, or tick at the end that it is so.") % {"doubt": words})


def reading_doubts(typed: dict[str, Any], unit: str) -> list[tuple[str, str]]:
    """Return what is doubtful about a pressure and a temperature: outside what the gas law was fitted for."""
    found = []
    pressure, temperature_c = typed.get("pressure"), typed.get("temperature_c")
    if pressure is not None and kpa_from(pressure, unit, units()) > Decimal(str(HIGHEST_KPA - 101)):
        most = f"{HIGHEST_KPA / 100 - 1:.0f} bar"
        found.append(("pressure", _("%(value)s %(unit)s is more than %(most)s. Look at gauge and unit again.") % {
            "value": pressure, "unit": unit, "most": most}))  # fmt: skip
    if temperature_c is not None and not COLDEST_C <= temperature_c <= WARMEST_C:
        said = {"value": temperature_c, "low": f"{COLDEST_C:.0f}", "high": f"{WARMEST_C:.0f}"}
        found.append(("temperature_c", _("%(value)s °C lies outside %(low)s to %(high)s °C.") % said))
    return found


class ParametersForm(GasForm):
    """What an analysis found, parameter by parameter, in the units of the limit sets."""

    needs_oxygen = True

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        for name, (label, unit) in PARAMETERS.items():
            needed = self.needs_oxygen and name == "o2"
            words = _("%(name)s, %(unit)s") if needed else _("%(name)s, %(unit)s (optional)")
            most = Decimal(100) if name == "o2" else Decimal(1_000_000)
            self.fields[name] = NumberField(label=(words % {"name": label, "unit": unit}).capitalize(), min_value=0,
                                            required=needed, max_value=most)  # fmt: skip
        self.fields["odour"] = forms.ChoiceField(label=_("Odour (optional)"), required=False, choices=[
            ("", _("not judged")), (Odour.NONE.value, _("none")), (Odour.SLIGHT.value, _("slight")),
            (Odour.OBJECTIONABLE.value, _("objectionable")),
        ])  # fmt: skip
        self.fields["upload"] = forms.FileField(label=_("Certificate of the analysis (optional)"), required=False,
                                                help_text=FILE_HELP)  # fmt: skip

    def values(self) -> dict[str, Decimal]:
        """Return what was measured."""
        return {name: self.cleaned_data[name] for name in PARAMETERS if self.cleaned_data.get(name) is not None}


def analysers_of(site: Site) -> Any:
    """Return the analysers of a site that still count."""
    return Equipment.objects.filter(site=site, retired_at=None, kind=EquipmentKind.ANALYSER).order_by("tag")
