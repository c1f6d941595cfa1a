"""Forms of comparisons: a gauge, an analyser or a thermometer, and a clock."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from facility.fields import DayField, NumberField, day_text
from maintenance.calibrating.judging import converted
from maintenance.calibrating.points_fields import add_cells, read_points
from maintenance.calibrating.words import LIMITS, RULES
from maintenance.models import IntervalRule, ReferenceCertificate
from maintenance.worksheets.calibration import LIMIT_KINDS, UNITS
from maintenance.worksheets.common import PRESSURE_UNITS, values

if TYPE_CHECKING:
    from datetime import date

    from maintenance.models import Equipment

UNPROVEN = gettext_lazy(
    "Its certificate as on that day. One that is out of date or not yet confirmed is taken, but proves nothing."
)
CHOSEN = ("limit_by", "class_or_grade", "own_limit", "decision_rule", "guard_factor", "largest_uncertainty")


def positive(label: Any, help_text: Any = "", *, required: bool = False) -> NumberField:
    """Return a field for a number of 0 or more."""
    return NumberField(
        label=label, required=required, min_value=0, max_digits=14, decimal_places=6, help_text=help_text
    )


def classes() -> list[tuple[str, Any]]:
    """Return the classes and grades that a limit can be taken from."""
    table = values("gauges.toml")
    grades = [name.removeprefix("b40.") for name in table if name.startswith("b40.")]
    return [
        ("", _("none")),
        (str(_("EN 837-1, class")), [(one, one) for one in table["en837.classes"].value]),
        (str(_("ASME B40.100, grade")), [(one, one) for one in grades]),
    ]


class ChoiceForm(forms.Form):
    """What every comparison asks: when, by whom, under which act, and the rule chosen beforehand."""

    done_on = DayField(label=gettext_lazy("Done on"))
    done_by = forms.CharField(label=gettext_lazy("Done by"), max_length=150)
    rule = forms.ModelChoiceField(
        IntervalRule.objects.none(), label=gettext_lazy("Counts for this act"), required=False,
        empty_label=gettext_lazy("none: a comparison outside any act"),
    )  # fmt: skip
    decision_rule = forms.ChoiceField(
        label=gettext_lazy("Decision rule, chosen beforehand"), widget=forms.RadioSelect, choices=list(RULES.items())
    )
    guard_factor = NumberField(
        label=gettext_lazy("Guard band, times U"), required=False, min_value=0, max_value=3,
        help_text=gettext_lazy("1 where nothing else is chosen; a false pass is then rare (JCGM 106:2012, 8.3.2)."),
    )  # fmt: skip
    largest_uncertainty = positive(
        gettext_lazy("Largest U allowed (optional)"), gettext_lazy("For the simple rule: above it nothing is judged.")
    )
    changed_because = forms.CharField(
        label=gettext_lazy("Why limit or rule differ from the last comparison"), max_length=300, required=False,
        help_text=gettext_lazy("Only where they do: they are chosen before measuring."),
    )  # fmt: skip
    adjusted = forms.BooleanField(
        label=gettext_lazy("It was adjusted after the run as found"), required=False,
        help_text=gettext_lazy("It then needs a run as left; without one nothing is known of the time to come."),
    )  # fmt: skip
    temperature_c = NumberField(label=gettext_lazy("Temperature of the room, °C"), required=False)
    humidity_percent = NumberField(label=gettext_lazy("Humidity, %"), required=False, min_value=0, max_value=100)
    air_pressure_hpa = NumberField(
        label=gettext_lazy("Air pressure, hPa"), required=False, min_value=300, max_value=1200
    )
    note = forms.CharField(label=gettext_lazy("Note (optional)"), max_length=500, required=False)

    def open_at(self, equipment: Equipment, today: date, last: dict[str, str] | None) -> None:
        """Offer the acts of the item and remember what was chosen the last time."""
        self.equipment, self.today, self.last = equipment, today, last
        acts: Any = self.fields["rule"]
        acts.queryset = IntervalRule.objects.current().filter(equipment=equipment).select_related("equipment")
        self.fields["decision_rule"].choices = [(key, _(words)) for key, words in RULES.items()]  # type: ignore[attr-defined]

    def clean_done_on(self) -> date:
        done_on: date = self.cleaned_data["done_on"]
        if done_on > self.today:
            raise ValidationError(_("%(day)s lies after today, %(today)s. Give the day it was done.")
                                  % {"day": day_text(done_on), "today": day_text(self.today)})  # fmt: skip
        return done_on

    def choices_made(self) -> dict[str, str]:
        """Return what was chosen beforehand, as texts."""
        typed = self.cleaned_data
        made = {name: as_typed(typed.get(name)) for name in CHOSEN}
        made["guard_factor"] = made["guard_factor"] or "1"
        return made | {"changed_because": typed.get("changed_because", "")}

    def refuse_silent_change(self) -> None:
        """Ask for a reason where limit or decision rule differ from the last comparison of this item."""
        if self.errors or self.last is None or self.cleaned_data.get("changed_because"):
            return
        made = self.choices_made()
        differ = [name for name in CHOSEN if _plain(made[name]) != _plain(self.last.get(name, ""))]
        if differ:
            names = ", ".join(str(self.fields[name].label or name) for name in differ if name in self.fields)
            self.add_error("changed_because", _("Differs from the last comparison: %(what)s. Limit and rule are chosen"
                                                " before measuring; say why they changed.") % {"what": names})  # fmt: skip

    def environment(self) -> dict[str, str]:
        """Return the surroundings as typed."""
        names = ("temperature_c", "humidity_percent", "air_pressure_hpa")
        return {name: as_typed(self.cleaned_data[name]) for name in names if self.cleaned_data.get(name) is not None}


class CompareForm(ChoiceForm):
    """A gauge, analyser or thermometer compared at several points with a reference."""

    field_order = ("done_on", "done_by", "rule", "certificate", "unit", "scale_low", "scale_high", "limit_by")
    certificate = forms.ModelChoiceField(
        ReferenceCertificate.objects.none(), label=gettext_lazy("Compared with"), required=False,
        empty_label=gettext_lazy("a reference without certificate"), help_text=UNPROVEN,
    )  # fmt: skip
    reference_expanded = positive(
        gettext_lazy("Its expanded uncertainty U"),
        gettext_lazy("Only without a certificate; otherwise U and k are taken from it."),
    )
    unit = forms.ChoiceField(label=gettext_lazy("Unit of all readings"), choices=[(one, one) for one in UNITS])
    scale_low = NumberField(label=gettext_lazy("Scale from"), max_digits=12, decimal_places=4)
    scale_high = NumberField(label=gettext_lazy("Scale to"), max_digits=12, decimal_places=4)
    limit_by = forms.ChoiceField(
        label=gettext_lazy("Limit by"), widget=forms.RadioSelect, choices=[(one, LIMITS[one]) for one in LIMIT_KINDS]
    )
    class_or_grade = forms.ChoiceField(
        label=gettext_lazy("Class or grade, off the dial"), required=False, choices=classes
    )
    own_limit = positive(gettext_lazy("Own limit, largest error"), gettext_lazy("In the unit of the readings."))
    resolution = positive(gettext_lazy("Resolution: smallest difference that can be read"), required=True)
    zero_before = NumberField(label=gettext_lazy("Zero before"), required=False, max_digits=12, decimal_places=4)
    zero_after = NumberField(label=gettext_lazy("Zero after"), required=False, max_digits=12, decimal_places=4)
    reference_drift = positive(
        gettext_lazy("Drift of the reference since its certificate (optional)"),
        gettext_lazy("Half-width, from its history."),
    )
    other_name = forms.CharField(label=gettext_lazy("Another component (optional)"), max_length=60, required=False)
    other_value = positive(gettext_lazy("its half-width"))
    head_height_m = NumberField(
        label=gettext_lazy("Reference above the gauge, m (optional)"), required=False, min_value=-100, max_value=100,
        help_text=gettext_lazy("Below it: minus. The head of the fluid between both is added to each reference value."),
    )  # fmt: skip
    fluid_density = positive(gettext_lazy("Density of the fluid between both, kg/m³"))

    def __init__(self, *args: Any, rows: int, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.rows = rows
        add_cells(self, rows)

    def open_at(self, equipment: Equipment, today: date, last: dict[str, str] | None) -> None:
        super().open_at(equipment, today, last)
        water = values("gauges.toml")["head.water_density"]
        self.fields["fluid_density"].help_text = f"{_(water.meaning)}: {water.value}."
        certificates: Any = self.fields["certificate"]
        rows = ReferenceCertificate.objects.current().filter(
            reference__site=equipment.site_id, reference__retired_at=None
        )
        certificates.queryset = rows.select_related("reference").order_by("reference__key", "-calibrated_on", "-pk")

    def clean(self) -> dict[str, Any]:
        typed: dict[str, Any] = self.cleaned_data
        self.found, self.left = (read_points(self, run, self.rows) for run in ("found", "left"))
        if not self.found and not any(name.startswith("found-") for name in self.errors):
            self.add_error("found-1-reference", _("No point as found. A comparison needs at least one."))
        low, high = typed.get("scale_low"), typed.get("scale_high")
        if low is not None and high is not None and high <= low:
            self.add_error("scale_high", _("%(high)s is not more than the start of the scale, %(low)s. Read the dial.")
                           % {"high": high, "low": low})  # fmt: skip
        self._check_limit(typed)
        self._check_reference(typed)
        self._check_pairs(typed)
        self.refuse_silent_change()
        return typed

    def _check_limit(self, typed: dict[str, Any]) -> None:
        kind, word = typed.get("limit_by"), typed.get("class_or_grade", "")
        if kind == LIMIT_KINDS[2]:
            if not typed.get("own_limit"):
                self.add_error("own_limit", _("Give the largest error allowed, more than 0."))
            return
        table = values("gauges.toml")
        known = [name[4:] for name in table if name.startswith("b40.")]
        allowed = list(table["en837.classes"].value) if kind == LIMIT_KINDS[0] else known
        if kind and word not in allowed:
            self.add_error("class_or_grade", _("“%(word)s” is not one of %(kind)s: choose %(allowed)s.")
                           % {"word": word, "kind": kind, "allowed": ", ".join(allowed)})  # fmt: skip

    def _check_reference(self, typed: dict[str, Any]) -> None:
        one, unit = typed.get("certificate"), typed.get("unit")
        if one is None:
            if typed.get("reference_expanded") is None:
                self.add_error("reference_expanded", _("Without a certificate give the reference's uncertainty."))
        elif unit and converted(one.expanded_uncertainty, one.unit, unit) is None:
            self.add_error("certificate", _("Its uncertainty is in %(one)s and the readings are in %(unit)s: there is no way"
                                            " from one to the other.") % {"one": one.unit, "unit": unit})  # fmt: skip

    def _check_pairs(self, typed: dict[str, Any]) -> None:
        pairs = (("zero_before", "zero_after"), ("other_name", "other_value"), ("head_height_m", "fluid_density"))
        for first, second in pairs:
            given = [typed.get(name) not in (None, "") for name in (first, second)]
            if given[0] != given[1]:
                missing = second if given[0] else first
                if missing not in self.errors:
                    self.add_error(missing, _("Missing: it goes with “%(other)s”.")
                                   % {"other": self.fields[first if given[1] else second].label})  # fmt: skip
        if typed.get("head_height_m") and typed.get("unit") not in PRESSURE_UNITS:
            self.add_error("head_height_m", _("A head of fluid is for pressures only: one of %(units)s.")
                           % {"units": ", ".join(PRESSURE_UNITS)})  # fmt: skip

    def means(self) -> dict[str, Any]:
        """Return what the uncertainty is made of, as texts in the unit of the readings."""
        typed = self.cleaned_data
        one, unit = typed["certificate"], typed["unit"]
        expanded = typed["reference_expanded"] if one is None else converted(one.expanded_uncertainty, one.unit, unit)
        before, after = typed["zero_before"], typed["zero_after"]
        others = [{"name": typed["other_name"], "value": as_typed(typed["other_value"])}] if typed["other_name"] else []
        return {
            "reference_expanded": as_typed(expanded), "reference_k": as_typed(one.coverage_factor if one else Decimal(2)),
            "resolution": as_typed(typed["resolution"]), "zero_before": as_typed(before), "zero_after": as_typed(after),
            "zero_shift": as_typed(abs(after - before) if before is not None else None),
            "reference_drift": as_typed(typed["reference_drift"]), "others": others,
            "head_height_m": as_typed(typed["head_height_m"]), "fluid_density": as_typed(typed["fluid_density"]),
        }  # fmt: skip


def as_typed(value: object) -> str:
    """Return a value as it was typed, nothing for none."""
    return "" if value is None else str(value)


def _plain(text: str) -> str:
    """Return a text so that 1 and 1.0 are the same."""
    try:
        return f"{Decimal(text).normalize():f}"
    except ArithmeticError:
        return text
