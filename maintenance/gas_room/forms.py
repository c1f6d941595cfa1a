"""Forms of the gas room: a delivery, its cylinders, an analysis, what became of them, a sample."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from facility.fields import DayField, InstantField, NumberField
from facility.models import PressureUnit
from facility.reference import load
from maintenance.compute.requalification import requalification_due
from maintenance.gas_room.form_parts import FILE_HELP, GasForm, ParametersForm, analysers_of, reading_doubts
from maintenance.gas_room.limits import POINTS
from maintenance.models import DeliveredCylinder, Delivery, Equipment, EquipmentKind, Gas, GasBank, IntervalRule
from maintenance.reference import FOLDER

if TYPE_CHECKING:
    from datetime import date, datetime

    from facility.access import Visit


class DeliveryForm(GasForm, forms.ModelForm[Delivery]):
    """What came in, from whom, when."""

    received_at = InstantField(label=gettext_lazy("Received at"))
    upload = forms.FileField(
        label=gettext_lazy("Photo or scan of the delivery note (optional)"), required=False, help_text=FILE_HELP
    )
    past = ("received_at",)

    class Meta:
        model = Delivery
        fields = ["gas", "supplier", "note_number", "received_at", "received_by"]


def _years_choices() -> list[tuple[str, str]]:
    table = load(FOLDER / "cylinders.toml")
    rules = [(name.removeprefix("years."), one) for name, one in table.items() if name.startswith("years.")]
    return [("", _("as stamped, typed below")), *(
        (name, _("%(years)s years: %(meaning)s") % {"years": one.number, "meaning": one.meaning}) for name, one in rules
    )]  # fmt: skip


class DeliveredForm(GasForm, forms.ModelForm[DeliveredCylinder]):
    """One cylinder as delivered: what its shoulder says."""

    water_litres = NumberField(label=gettext_lazy("Water capacity, L"), min_value=Decimal("0.1"), max_digits=8,
                               decimal_places=2)  # fmt: skip
    tested_on = DayField(
        label=gettext_lazy("Last pressure test, off the shoulder (optional)"), required=False,
        help_text=gettext_lazy("Where only month and year are stamped: the last day of that month."),
    )  # fmt: skip
    term = forms.ChoiceField(
        label=gettext_lazy("Good for (optional)"), required=False,
        help_text=gettext_lazy("The local code, the stamp and the requalifier decide. Weak or remembered terms: ask."),
    )  # fmt: skip
    test_due_on = DayField(label=gettext_lazy("Next pressure test due (optional)"), required=False)
    pressure = NumberField(label=gettext_lazy("Pressure, gauge (optional)"), required=False, min_value=0,
                           max_digits=9, decimal_places=2)  # fmt: skip
    temperature_c = NumberField(label=gettext_lazy("Temperature, °C (optional)"), required=False, max_digits=5,
                                decimal_places=1)  # fmt: skip

    class Meta:
        model = DeliveredCylinder
        fields = ["mark", "water_litres", "tested_on", "term", "test_due_on", "pressure", "unit", "temperature_c"]

    def open_at(self, visit: Visit, now: datetime) -> None:
        super().open_at(visit, now)
        self.fields["term"].choices = _years_choices()  # type: ignore[attr-defined]  # a ChoiceField

    def doubts(self, typed: dict[str, Any]) -> list[tuple[str, str]]:
        return reading_doubts(typed, typed.get("unit") or PressureUnit.BAR)

    def clean(self) -> dict[str, Any]:
        typed = super().clean()
        tested: date | None = typed.get("tested_on")
        if tested is not None and tested > self.now.date():
            self.add_error("tested_on", _("This day lies ahead. Read the stamp again: the last test, not the next."))
        if typed.get("term") and tested is None:
            self.add_error("tested_on", _("Without the day of the last test the next cannot be reckoned."))
        elif typed.get("term") and tested is not None and typed.get("test_due_on") is None:
            years = int(load(FOLDER / "cylinders.toml")[f"years.{typed['term']}"].number)
            typed["test_due_on"] = requalification_due(tested, years, month_only=True)
        if tested is not None and typed.get("test_due_on") is not None and typed["test_due_on"] < tested:
            self.add_error("test_due_on", _("The next test lies before the last one. Read both again."))
        return typed


class AnalyseForm(ParametersForm):
    """The analysis of one delivered cylinder."""

    shown_version = forms.IntegerField(widget=forms.HiddenInput)
    analysed_at = InstantField(label=gettext_lazy("Analysed at"))
    analysed_by = forms.CharField(label=gettext_lazy("Analysed by"), max_length=150)
    analyser = forms.ModelChoiceField(
        Equipment.objects.none(), label=gettext_lazy("Analyser"), required=False,
        empty_label=gettext_lazy("none of ours: it then passes nothing"),
    )  # fmt: skip
    pressure = NumberField(label=gettext_lazy("Pressure of the cylinder, gauge"), min_value=0, max_digits=9,
                           decimal_places=2)  # fmt: skip
    unit = forms.ChoiceField(label=gettext_lazy("Unit"), choices=PressureUnit.choices)
    temperature_c = NumberField(label=gettext_lazy("Temperature of the cylinder, °C"), max_digits=5, decimal_places=1)
    past = ("analysed_at",)

    def open_at(self, visit: Visit, now: datetime) -> None:
        super().open_at(visit, now)
        self.fields["analyser"].queryset = analysers_of(visit.site)  # type: ignore[attr-defined]  # of a choice

    def doubts(self, typed: dict[str, Any]) -> list[tuple[str, str]]:
        return reading_doubts(typed, typed.get("unit") or PressureUnit.BAR)


class AcceptForm(GasForm):
    """Into which bank an analysed cylinder goes."""

    shown_version = forms.IntegerField(widget=forms.HiddenInput)
    bank = forms.ModelChoiceField(GasBank.objects.none(), label=gettext_lazy("Into bank"))

    def open_for(self, visit: Visit, gas: str, now: datetime) -> None:
        """Offer the banks of this gas."""
        self.open_at(visit, now)
        rows = GasBank.objects.filter(site=visit.site, retired_at=None, gas=gas)
        self.fields["bank"].queryset = rows  # type: ignore[attr-defined]  # of a choice


class RefuseForm(GasForm):
    """Why a cylinder is refused."""

    shown_version = forms.IntegerField(widget=forms.HiddenInput)
    because = forms.CharField(label=gettext_lazy("Refused because"), max_length=500,
                              widget=forms.Textarea(attrs={"rows": 3}))  # fmt: skip
    photo = forms.FileField(label=gettext_lazy("Photo of the cylinder (optional)"), required=False,
                            help_text=FILE_HELP)  # fmt: skip


class HookUpForm(GasForm):
    """What the bank's gauge shows after hook-up, its valves open."""

    shown_version = forms.IntegerField(widget=forms.HiddenInput)
    read_at = InstantField(label=gettext_lazy("Read at"))
    pressure = NumberField(label=gettext_lazy("Pressure on the bank's gauge"), min_value=0, max_digits=9,
                           decimal_places=2)  # fmt: skip
    temperature_c = NumberField(label=gettext_lazy("Temperature of the cylinders, °C"), max_digits=5, decimal_places=1)
    read_by = forms.CharField(label=gettext_lazy("Read by"), max_length=150)
    explanation = forms.CharField(label=gettext_lazy("Why they differ, if they do (optional)"), required=False,
                                  max_length=300)  # fmt: skip
    past = ("read_at",)
    unit = PressureUnit.BAR.value

    def doubts(self, typed: dict[str, Any]) -> list[tuple[str, str]]:
        return reading_doubts(typed, self.unit)


class ExplainForm(GasForm):
    """Why gauge and sum differ after hook-up."""

    shown_version = forms.IntegerField(widget=forms.HiddenInput)
    explanation = forms.CharField(label=gettext_lazy("Why they differ"), max_length=300,
                                  widget=forms.Textarea(attrs={"rows": 3}))  # fmt: skip


class SampleForm(ParametersForm):
    """A sample of breathing gas at one point."""

    needs_oxygen = False

    gas = forms.ChoiceField(label=gettext_lazy("Gas"), choices=Gas.choices)
    point = forms.ChoiceField(label=gettext_lazy("Taken at"), choices=[(key, one[0]) for key, one in POINTS.items()])
    equipment = forms.ModelChoiceField(Equipment.objects.none(), label=gettext_lazy("Compressor or line (optional)"),
                                       required=False)  # fmt: skip
    bank = forms.ModelChoiceField(GasBank.objects.none(), label=gettext_lazy("or bank (optional)"), required=False)
    rule = forms.ModelChoiceField(
        IntervalRule.objects.none(), label=gettext_lazy("Answers this act (optional)"), required=False,
        help_text=gettext_lazy("An act of the compressor or line, such as its air test; it is then recorded as done."),
    )  # fmt: skip
    pressure_bar = NumberField(
        label=gettext_lazy("Pressure of the point, bar gauge"), min_value=0, max_value=1000, decimal_places=2,
        help_text=gettext_lazy("Of a line: that of the store behind it, since the limits of water are given for it."),
    )  # fmt: skip
    taken_at = InstantField(label=gettext_lazy("Taken at, time"))
    taken_by = forms.CharField(label=gettext_lazy("Taken by"), max_length=150)
    analyser = forms.ModelChoiceField(Equipment.objects.none(), label=gettext_lazy("Our analyser (optional)"),
                                      required=False, empty_label=gettext_lazy("sent to a laboratory"))  # fmt: skip
    laboratory = forms.CharField(label=gettext_lazy("Laboratory (optional)"), max_length=150, required=False)
    past = ("taken_at",)

    def open_at(self, visit: Visit, now: datetime) -> None:
        super().open_at(visit, now)
        choices: Any = self.fields
        here = Equipment.objects.filter(site=visit.site, retired_at=None)
        choices["equipment"].queryset = here.exclude(kind=EquipmentKind.ANALYSER)
        choices["analyser"].queryset = analysers_of(visit.site)
        choices["bank"].queryset = GasBank.objects.filter(site=visit.site, retired_at=None)
        rules = IntervalRule.objects.filter(equipment__site=visit.site, retired_at=None, equipment__retired_at=None)
        choices["rule"].queryset = rules.select_related("equipment").order_by("equipment__tag", "name")

    def clean(self) -> dict[str, Any]:
        typed = super().clean()
        rule, equipment = typed.get("rule"), typed.get("equipment")
        if rule is not None and (equipment is None or rule.equipment_id != equipment.pk):
            self.add_error("rule", _("%(rule)s is of another item than the one named. Name its item, or leave it empty.")
                           % {"rule": rule})  # fmt: skip
        if not typed.get("analyser") and not typed.get("laboratory"):
            self.add_error("laboratory", _("Name our analyser, or the laboratory that measured."))
        if typed.get("bank") is not None and typed["bank"].gas != typed.get("gas"):
            self.add_error("bank", _("%(bank)s is for %(gas)s.") % {"bank": typed["bank"], "gas": typed["bank"].gas})
        if not self.errors and not self.values() and not typed.get("odour"):
            raise ValidationError(_("Nothing was measured. Type at least one value."))
        return typed
