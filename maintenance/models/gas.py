"""Gas banks, their cylinders, analyses and readings."""

from __future__ import annotations

from decimal import Decimal

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from facility.models import Chamber, Entry, Evidence, Kept, PressureUnit, Site
from maintenance.models.equipment import Equipment


class Gas(models.TextChoices):
    """Gases a plan may ask for, as written on the pages."""

    OXYGEN = "O2", "O2"
    AIR = "AIR", "AIR"


class GasBank(Kept):
    """Cylinders piped together behind one gauge."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="banks", verbose_name=_("site"))
    chamber = models.ForeignKey(
        Chamber, models.PROTECT, null=True, blank=True, related_name="banks", verbose_name=_("chamber")
    )
    key = models.SlugField(_("key"), max_length=60, help_text=_("For example oxygen-1."))
    name = models.CharField(_("name"), max_length=120)
    gas = models.CharField(_("gas"), max_length=4, choices=Gas.choices)
    gauge_unit = models.CharField(
        _("unit on its gauge"), max_length=4, choices=PressureUnit.choices, default=PressureUnit.BAR
    )
    minimum_pressure = models.DecimalField(
        _("not drawn below, gauge"), max_digits=8, decimal_places=2, default=0, validators=[MinValueValidator(0)],
        help_text=_("In the gauge's unit; what lies below it is not counted."),
    )  # fmt: skip

    SHOWN = ("key", "name", "gas", "chamber", "gauge_unit", "minimum_pressure")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["site", "key"], name="bank_key_once_per_site")]
        ordering = ["key"]

    def __str__(self) -> str:
        return self.name


class Cylinder(Kept):
    """One cylinder of a bank. Without a passed analysis it counts for nothing."""

    bank = models.ForeignKey(GasBank, models.PROTECT, related_name="cylinders", verbose_name=_("bank"))
    mark = models.CharField(_("mark"), max_length=60, help_text=_("Serial as stamped on the shoulder."))
    water_litres = models.DecimalField(
        _("water capacity, L"), max_digits=8, decimal_places=2, validators=[MinValueValidator(0)]
    )

    tested_on = models.DateField(
        _("last pressure test"), null=True, blank=True, help_text=_("As stamped; where only a month is, its last day.")
    )
    test_due_on = models.DateField(_("next pressure test due"), null=True, blank=True)

    SHOWN = ("bank", "mark", "water_litres", "tested_on", "test_due_on")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["bank", "mark"], condition=Q(retired_at=None), name="cylinder_once_in_bank"
            ),
            models.CheckConstraint(condition=Q(water_litres__gt=0), name="cylinder_holds_something"),
        ]
        ordering = ["bank_id", "mark"]

    def __str__(self) -> str:
        return self.mark


class AnalysisResult(models.TextChoices):
    """What an analysis of the gas in a cylinder said."""

    PASSED = "passed", _("passed")
    FAILED = "failed", _("refused")


class CylinderAnalysis(Entry):
    """An analysis of the gas in one cylinder, by a named person."""

    cylinder = models.ForeignKey(Cylinder, models.PROTECT, related_name="analyses", verbose_name=_("cylinder"))
    analysed_at = models.DateTimeField(_("analysed at"))
    result = models.CharField(_("result"), max_length=6, choices=AnalysisResult.choices)
    oxygen_percent = models.DecimalField(_("oxygen, %"), max_digits=5, decimal_places=2, null=True, blank=True)
    analysed_by = models.CharField(_("analysed by"), max_length=150)
    analyser = models.ForeignKey(
        Equipment, models.PROTECT, null=True, blank=True, related_name="analyses", verbose_name=_("analyser")
    )
    values = models.JSONField(_("values"), default=dict, blank=True, editable=False)
    judged = models.JSONField(_("against the limit sets"), default=dict, blank=True, editable=False)
    evidence = models.ForeignKey(
        Evidence, models.PROTECT, null=True, blank=True, related_name="+", verbose_name=_("certificate")
    )
    doubted_by = models.ForeignKey(
        "maintenance.Recall", models.PROTECT, null=True, blank=True, editable=False, related_name="doubted_analyses"
    )

    SHOWN = ("cylinder", "analysed_at", "result", "oxygen_percent", "analyser", "analysed_by")

    class Meta:
        indexes = [models.Index(fields=["cylinder", "-analysed_at", "-id"], name="analysis_newest")]
        ordering = ["-analysed_at", "-id"]

    def __str__(self) -> str:
        return f"{self.cylinder} {self.get_result_display()}"


class BankReading(Entry):
    """The pressure on a bank's gauge at one time, as typed, with its unit."""

    bank = models.ForeignKey(GasBank, models.PROTECT, related_name="readings", verbose_name=_("bank"))
    cylinder = models.ForeignKey(
        Cylinder, models.PROTECT, null=True, blank=True, related_name="readings", verbose_name=_("only this cylinder"),
        help_text=_("Empty: the whole bank, its valves open to one gauge."),
    )  # fmt: skip
    read_at = models.DateTimeField(_("read at"))
    pressure = models.DecimalField(
        _("pressure, gauge"), max_digits=9, decimal_places=2, validators=[MinValueValidator(0)]
    )
    unit = models.CharField(_("unit"), max_length=4, choices=PressureUnit.choices)
    temperature_c = models.DecimalField(
        _("temperature, °C"), max_digits=5, decimal_places=1, default=15,
        help_text=_("Of the gas in the cylinders, as near as it can be told."),
    )  # fmt: skip
    read_by = models.CharField(_("read by"), max_length=150)
    answer = models.ForeignKey(
        "facility.Answer", models.PROTECT, null=True, blank=True, editable=False, related_name="bank_readings"
    )

    SHOWN = ("bank", "cylinder", "read_at", "pressure", "unit", "temperature_c", "read_by")

    @property
    def measured_c(self) -> Decimal | None:
        """The temperature, unless the reading came with a check: nobody measured one there."""
        return None if self.answer_id is not None else self.temperature_c

    @property
    def temperature_c_told(self) -> str:
        """Words instead of a temperature that nobody measured; nothing where one was."""
        return gettext("not measured") if self.measured_c is None else ""

    class Meta:
        indexes = [
            models.Index(fields=["bank", "-read_at", "-id"], condition=Q(retired_at=None), name="reading_newest")
        ]
        ordering = ["-read_at", "-id"]

    def __str__(self) -> str:
        return f"{self.bank} {self.pressure} {self.unit}"
