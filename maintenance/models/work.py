"""What was done on items, openings of a chamber, defects and their repairs."""

from __future__ import annotations

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from facility.models import Answer, Chamber, Entry, Evidence, Site
from maintenance.models.equipment import Equipment
from maintenance.models.interval import IntervalRule


class WorkResult(models.TextChoices):
    """What came of an act."""

    PASSED = "passed", _("passed")
    FAILED = "failed", _("failed")
    UNREAD = "could not read", _("could not read")


class WorkKind(models.TextChoices):
    """What sort of act it was; each has its own fields on the form."""

    OTHER = "other", _("other work")
    INSPECTION = "inspection", _("inspection")
    FUNCTION = "function_test", _("function test")
    HOLD = "hold_test", _("hold (drop) test")
    RELIEF = "relief_valve", _("relief-valve test")
    REPLACEMENT = "replacement", _("replacement")
    OXYGEN_CLEANING = "oxygen_cleaning", _("cleaning for oxygen")
    VIEWPORT = "viewport", _("viewport inspection")
    FIRE_WATER = "fire_water", _("fire-water test")
    DELUGE = "deluge", _("deluge test")
    HAND_LINE = "hand_line", _("hand-line test")
    EXTINGUISHER = "extinguisher", _("extinguisher check")
    GENERATOR = "generator", _("generator test")
    BATTERY = "battery", _("battery test")
    SET_POINT = "set_point", _("alarm set-point")
    HOSE = "hose", _("hose test")
    REQUALIFICATION = "requalification", _("cylinder requalification")
    EXPIRY = "expiry", _("drugs and kit: expiry")
    ANALYSER = "analyser", _("analyser check")
    CALIBRATION = "calibration", _("calibration")
    RETURN_TEST = "return_test", _("return-to-service test")


class WorkRecord(Entry):
    """One act done on an item under one of its rules, or outside any rule.

    ``readings`` [{name, value, unit, low, high, outcome}] are kept as typed; ``details`` and ``computed``
    have the shape of the act's own computation, as on that day.
    """

    equipment = models.ForeignKey(Equipment, models.PROTECT, related_name="work", verbose_name=_("equipment"))
    rule = models.ForeignKey(
        IntervalRule, models.PROTECT, null=True, blank=True, related_name="work", verbose_name=_("act")
    )
    kind = models.CharField(_("sort of work"), max_length=16, choices=WorkKind.choices, default=WorkKind.OTHER)
    done_on = models.DateField(_("done on"))
    month_only = models.BooleanField(
        _("only the month is known"), default=False, help_text=_("The month's last day is then kept.")
    )
    result = models.CharField(_("result"), max_length=14, choices=WorkResult.choices, default=WorkResult.PASSED)
    due_on = models.DateField(
        _("next due, if it differs"), null=True, blank=True,
        help_text=_("Only where the certificate gives its own date; otherwise it is reckoned from the interval."),
    )  # fmt: skip
    done_by = models.CharField(_("done by"), max_length=150)
    witness = models.CharField(_("witness"), max_length=150, blank=True)
    note = models.CharField(_("note"), max_length=500, blank=True)
    readings = models.JSONField(_("readings"), default=list, blank=True, editable=False)
    details = models.JSONField(_("details"), default=dict, blank=True, editable=False)
    computed = models.JSONField(_("computed"), default=dict, blank=True, editable=False)
    count = models.DecimalField(
        _("count when it was done"), max_digits=12, decimal_places=2, null=True, blank=True,
        validators=[MinValueValidator(0)], help_text=_("Running total of the rule's counter."),
    )  # fmt: skip
    evidence = models.ForeignKey(
        Evidence, models.PROTECT, null=True, blank=True, related_name="+", verbose_name=_("certificate")
    )
    needs_second_look = models.BooleanField(
        _("waits for a second look"), default=False, editable=False,
        help_text=_("Dates read off a scan count once a second person has confirmed them."),
    )  # fmt: skip
    second_look_by = models.CharField(max_length=150, blank=True, editable=False)
    second_look_at = models.DateTimeField(null=True, blank=True, editable=False)
    doubted_by = models.ForeignKey(
        "maintenance.Recall", models.PROTECT, null=True, blank=True, editable=False, related_name="doubted_work"
    )
    cost = models.DecimalField(
        _("cost"), max_digits=12, decimal_places=2, null=True, blank=True, validators=[MinValueValidator(0)]
    )
    currency = models.CharField(_("currency"), max_length=3, blank=True, help_text=_("Three letters, ISO 4217."))
    down_min = models.PositiveIntegerField(_("time down, minutes"), null=True, blank=True)

    SHOWN = ("equipment", "rule", "done_on", "result", "due_on", "done_by", "note")

    class Meta:
        indexes = [
            models.Index(fields=["rule", "-done_on", "-id"], condition=Q(retired_at=None), name="work_newest_of_rule"),
            models.Index(fields=["equipment", "-done_on", "-id"], name="work_of_equipment"),
        ]
        ordering = ["-done_on", "-id"]

    def __str__(self) -> str:
        return f"{self.equipment.tag} {self.done_on}"


class Opening(Entry):
    """The chamber was opened for work: checks signed before it no longer count."""

    chamber = models.ForeignKey(Chamber, models.PROTECT, related_name="openings", verbose_name=_("chamber"))
    opened_at = models.DateTimeField(_("opened at"))
    work = models.CharField(_("for what"), max_length=300)

    SHOWN = ("chamber", "opened_at", "work")

    class Meta:
        indexes = [models.Index(fields=["chamber", "-opened_at"], name="opening_newest")]

    def __str__(self) -> str:
        return f"{self.chamber} {self.opened_at:%d %b %H:%M}"


class DefectEffect(models.TextChoices):
    """What a defect does to its member."""

    STOPS = "stops", _("out of service")
    LIMITS = "limits", _("restricted")
    WATCH = "watch", _("watch")


class Defect(Entry):
    """Something found wrong: a tag with a number until it is returned to service."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="defects", verbose_name=_("site"))
    number = models.PositiveIntegerField(_("tag number"), editable=False, default=0)
    equipment = models.ForeignKey(
        Equipment, models.PROTECT, null=True, blank=True, related_name="defects", verbose_name=_("equipment")
    )
    bank = models.ForeignKey(
        "maintenance.GasBank", models.PROTECT, null=True, blank=True, related_name="defects", verbose_name=_("gas bank")
    )
    what = models.CharField(_("what is wrong"), max_length=300)
    effect = models.CharField(_("effect"), max_length=8, choices=DefectEffect.choices)
    plans = models.JSONField(
        _("only for these plans"), null=True, blank=True, help_text=_("Keys of plans; empty: all that rest on it.")
    )
    found_at = models.DateTimeField(_("found at"))
    expected_back = models.DateField(_("expected back"), null=True, blank=True)
    answer = models.ForeignKey(Answer, models.PROTECT, null=True, blank=True, editable=False, related_name="defects")
    returned_at = models.DateTimeField(_("returned to service at"), null=True, blank=True, editable=False)
    returned_by = models.CharField(max_length=150, blank=True, editable=False)
    return_note = models.CharField(max_length=500, blank=True, editable=False)
    witness = models.CharField(max_length=150, blank=True, editable=False)
    gas_suspect = models.BooleanField(
        _("the gas could be wrong"), default=False, help_text=_("Then treat it as unanalysed until it is analysed.")
    )
    return_test = models.ForeignKey(
        WorkRecord, models.PROTECT, null=True, blank=True, editable=False, related_name="ended_defects"
    )

    SHOWN = ("equipment", "bank", "what", "effect", "plans", "found_at", "expected_back")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["site", "number"], condition=Q(retired_at=None), name="defect_number_once_per_site"
            ),
            models.CheckConstraint(
                condition=Q(equipment__isnull=False) | Q(bank__isnull=False),
                name="defect_is_of_something",
                violation_error_message=_("Name the item or the gas bank that is defective."),
            ),
        ]
        indexes = [models.Index(fields=["site"], condition=Q(returned_at=None, retired_at=None), name="defect_open")]
        ordering = ["-found_at"]

    def __str__(self) -> str:
        return f"{self.number:04d} {self.what}"


class Repair(Entry):
    """What was done about a defect. It stays open until a return-to-service test has passed.

    ``parts``: [{part, serial, cleaned_for_oxygen: "yes" | "no" | "not needed", certificate}], as typed.
    """

    defect = models.ForeignKey(Defect, models.PROTECT, related_name="repairs", verbose_name=_("defect"))
    done_at = models.DateTimeField(_("done at"))
    done_by = models.CharField(_("done by"), max_length=150)
    what = models.CharField(_("what was done"), max_length=500)
    parts = models.JSONField(_("parts"), default=list, blank=True)
    evidence = models.ForeignKey(
        Evidence, models.PROTECT, null=True, blank=True, related_name="+", verbose_name=_("certificate of the parts")
    )
    cost = models.DecimalField(
        _("cost"), max_digits=12, decimal_places=2, null=True, blank=True, validators=[MinValueValidator(0)]
    )
    currency = models.CharField(_("currency"), max_length=3, blank=True, help_text=_("Three letters, ISO 4217."))

    SHOWN = ("defect", "done_at", "done_by", "what")

    class Meta:
        ordering = ["-done_at", "-id"]

    def __str__(self) -> str:
        return f"{self.defect.number:04d} {self.what}"
