"""Deliveries of gas, what waits in quarantine, samples of breathing gas, and how gas is ordered."""

from __future__ import annotations

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils.translation import gettext_lazy as _

from facility.models import Entry, Evidence, Kept, PressureUnit, Site
from maintenance.models.equipment import Equipment
from maintenance.models.gas import Cylinder, Gas, GasBank


class Supply(Kept):
    """How one gas is bought: how long it takes, on which days it comes, how much at a time."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="supplies", verbose_name=_("site"))
    gas = models.CharField(_("gas"), max_length=4, choices=Gas.choices)
    supplier = models.CharField(_("supplier"), max_length=150)
    lead_days = models.PositiveSmallIntegerField(_("days from order to delivery"))
    weekdays = models.JSONField(
        _("delivers on"), default=list, blank=True, help_text=_("1 Monday to 7 Sunday; empty: any day.")
    )
    litres_each = models.PositiveIntegerField(
        _("one cylinder brings, L at 15 °C and 1 atm"), null=True, blank=True, validators=[MinValueValidator(1)]
    )
    price_each = models.DecimalField(
        _("price of one cylinder"), max_digits=12, decimal_places=2, null=True, blank=True,
        validators=[MinValueValidator(0)],
    )  # fmt: skip
    currency = models.CharField(_("currency"), max_length=3, blank=True, help_text=_("Three letters, ISO 4217."))

    SHOWN = ("gas", "supplier", "lead_days", "weekdays", "litres_each", "price_each", "currency")

    class Meta:
        ordering = ["gas", "supplier"]

    def __str__(self) -> str:
        return f"{self.gas}, {self.supplier}"


class Delivery(Entry):
    """Cylinders that came in together. They count for nothing before each was analysed and accepted."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="deliveries", verbose_name=_("site"))
    gas = models.CharField(_("gas by label"), max_length=4, choices=Gas.choices)
    supplier = models.CharField(_("supplier"), max_length=150)
    note_number = models.CharField(_("number of the delivery note"), max_length=80, blank=True)
    received_at = models.DateTimeField(_("received at"))
    received_by = models.CharField(_("received by"), max_length=150)
    evidence = models.ForeignKey(
        Evidence, models.PROTECT, null=True, blank=True, related_name="+", verbose_name=_("delivery note")
    )

    class Meta:
        ordering = ["-received_at", "-id"]

    def __str__(self) -> str:
        return f"{self.gas} {self.supplier} {self.note_number}".strip()


class QuarantineState(models.TextChoices):
    """Where a delivered cylinder stands."""

    QUARANTINE = "quarantine", _("in quarantine")
    ANALYSED = "analysed", _("analysed, waits for acceptance")
    ACCEPTED = "accepted", _("accepted")
    REFUSED = "refused", _("refused")


class DeliveredCylinder(Kept):
    """One cylinder as delivered: marks off its shoulder, pressure, analysis, and what became of it."""

    delivery = models.ForeignKey(Delivery, models.PROTECT, related_name="cylinders", verbose_name=_("delivery"))
    mark = models.CharField(_("mark"), max_length=60, help_text=_("Serial as stamped on the shoulder."))
    water_litres = models.DecimalField(
        _("water capacity, L"), max_digits=8, decimal_places=2, validators=[MinValueValidator(0)]
    )
    tested_on = models.DateField(_("last pressure test"), null=True, blank=True)
    test_due_on = models.DateField(_("next pressure test due"), null=True, blank=True)
    pressure = models.DecimalField(
        _("pressure, gauge"), max_digits=9, decimal_places=2, null=True, blank=True, validators=[MinValueValidator(0)]
    )
    unit = models.CharField(_("unit"), max_length=4, choices=PressureUnit.choices, default=PressureUnit.BAR)
    temperature_c = models.DecimalField(_("temperature, °C"), max_digits=5, decimal_places=1, null=True, blank=True)
    state = models.CharField(
        _("state"), max_length=12, choices=QuarantineState.choices, default=QuarantineState.QUARANTINE, editable=False
    )
    analysed_at = models.DateTimeField(null=True, blank=True, editable=False)
    analysed_by = models.CharField(max_length=150, blank=True, editable=False)
    analyser = models.ForeignKey(
        Equipment, models.PROTECT, null=True, blank=True, editable=False, related_name="delivered_analyses"
    )
    oxygen_percent = models.DecimalField(max_digits=5, decimal_places=2, null=True, blank=True, editable=False)
    values = models.JSONField(default=dict, blank=True, editable=False)
    judged = models.JSONField(default=dict, blank=True, editable=False)
    passed = models.BooleanField(null=True, blank=True, editable=False)
    cylinder = models.OneToOneField(
        Cylinder, models.PROTECT, null=True, blank=True, editable=False, related_name="delivered_as"
    )
    photo = models.ForeignKey(Evidence, models.PROTECT, null=True, blank=True, related_name="+", editable=False)
    decided_by = models.CharField(max_length=150, blank=True, editable=False)
    decided_at = models.DateTimeField(null=True, blank=True, editable=False)
    refused_because = models.CharField(max_length=500, blank=True, editable=False)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["delivery", "mark"], name="mark_once_in_delivery")]
        ordering = ["delivery_id", "mark"]

    def __str__(self) -> str:
        return self.mark


class GasSample(Entry):
    """A sample of breathing gas at one point, against the limit sets of several standards."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="gas_samples", verbose_name=_("site"))
    gas = models.CharField(_("gas"), max_length=4, choices=Gas.choices)
    point = models.CharField(_("taken at"), max_length=20, help_text=_("Sampling point, as the limit sets name it."))
    equipment = models.ForeignKey(
        Equipment, models.PROTECT, null=True, blank=True, related_name="gas_samples",
        verbose_name=_("compressor or line"),
    )  # fmt: skip
    bank = models.ForeignKey(
        GasBank, models.PROTECT, null=True, blank=True, related_name="samples", verbose_name=_("or bank")
    )
    taken_at = models.DateTimeField(_("taken at, time"))
    taken_by = models.CharField(_("taken by"), max_length=150)
    analyser = models.ForeignKey(
        Equipment, models.PROTECT, null=True, blank=True, related_name="samples_analysed", verbose_name=_("analyser")
    )
    laboratory = models.CharField(_("laboratory"), max_length=150, blank=True)
    pressure_bar = models.DecimalField(
        _("pressure of the point, bar gauge"), max_digits=7, decimal_places=2,
        validators=[MinValueValidator(0), MaxValueValidator(1000)],
    )  # fmt: skip
    values = models.JSONField(
        _("values"), default=dict, help_text=_("Parameter: value, in the units of the limit sets.")
    )
    odour = models.CharField(_("odour"), max_length=12, blank=True)
    adopted_set = models.CharField(_("limit set that the site adopted"), max_length=60, blank=True)
    judged = models.JSONField(default=dict, editable=False)
    passed = models.BooleanField(null=True, blank=True, editable=False)
    work = models.OneToOneField(
        "maintenance.WorkRecord", models.PROTECT, null=True, blank=True, editable=False, related_name="gas_sample"
    )
    evidence = models.ForeignKey(
        Evidence, models.PROTECT, null=True, blank=True, related_name="+", verbose_name=_("certificate")
    )
    doubted_by = models.ForeignKey(
        "maintenance.Recall", models.PROTECT, null=True, blank=True, editable=False, related_name="doubted_samples"
    )

    class Meta:
        indexes = [models.Index(fields=["site", "-taken_at", "-id"], name="sample_newest")]
        ordering = ["-taken_at", "-id"]

    def __str__(self) -> str:
        return f"{self.gas} {self.point} {self.taken_at:%Y-%m-%d}"
