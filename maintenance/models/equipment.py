"""Equipment, the rules by which it falls due, what was done, and defects."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from facility.models import Answer, Chamber, Entry, Evidence, Kept, Lock, Site


class EquipmentKind(models.TextChoices):
    """What sort of thing it is."""

    VESSEL = "vessel", _("vessel or lock shell")
    VIEWPORT = "viewport", _("viewport")
    DOOR_SEAL = "door_seal", _("door or seal")
    RELIEF_VALVE = "relief_valve", _("relief valve")
    VALVE = "valve", _("valve or pipework")
    DEPTH_GAUGE = "depth_gauge", _("depth gauge")
    PRESSURE_GAUGE = "pressure_gauge", _("pressure gauge")
    CLOCK = "clock", _("clock")
    ANALYSER = "analyser", _("analyser")
    THERMOMETER = "thermometer", _("thermometer")
    MASK = "mask", _("BIBS mask or dump")
    REGULATOR = "regulator", _("regulator")
    HOSE = "hose", _("hose")
    COMPRESSOR = "compressor", _("compressor")
    STORE = "store", _("gas store")
    FIRE = "fire", _("fire protection")
    ELECTRICAL = "electrical", _("electrical or light")
    COMMUNICATION = "communication", _("communication")
    ALARM = "alarm", _("alarm")
    MEDICAL_KIT = "medical_kit", _("medical kit or drugs")
    OTHER = "other", _("other")


class Equipment(Kept):
    """One item with a tag on it."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="equipment", verbose_name=_("site"))
    chamber = models.ForeignKey(
        Chamber, models.PROTECT, null=True, blank=True, related_name="equipment", verbose_name=_("chamber")
    )
    lock = models.ForeignKey(
        Lock, models.PROTECT, null=True, blank=True, related_name="equipment", verbose_name=_("lock")
    )
    tag = models.CharField(_("tag"), max_length=40, help_text=_("As on the plate, for example IL-D1."))
    name = models.CharField(_("name"), max_length=150)
    kind = models.CharField(_("kind"), max_length=16, choices=EquipmentKind.choices)
    place = models.CharField(_("place"), max_length=120, blank=True)
    maker = models.CharField(_("maker"), max_length=120, blank=True)
    serial = models.CharField(_("serial number"), max_length=80, blank=True)
    purpose = models.CharField(_("what it is for"), max_length=300, blank=True)
    in_service_on = models.DateField(_("in service since"), null=True, blank=True)
    life_ends_on = models.DateField(
        _("service life ends"), null=True, blank=True, help_text=_("Last day of its service life, good through it.")
    )

    SHOWN = (
        "tag", "name", "kind", "chamber", "lock", "place", "maker", "serial", "purpose", "in_service_on", "life_ends_on",
    )  # fmt: skip

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["site", "tag"], name="equipment_tag_once_per_site"),
            models.UniqueConstraint(
                fields=["site", "maker", "serial"], condition=~Q(serial="") & Q(retired_at=None),
                name="equipment_serial_once_per_maker",
                violation_error_message=_("Another item of this maker has this serial number."),
            ),
        ]  # fmt: skip
        ordering = ["tag"]

    def clean(self) -> None:
        """Refuse the serial number of another item of this maker, naming that item."""
        if not self.serial or not self.is_current:
            return
        same = Equipment.objects.current().filter(site=self.site, maker=self.maker, serial=self.serial)
        twin = same.exclude(pk=self.pk).first()
        if twin is not None:
            words = _("Serial number “%(serial)s” of this maker is that of %(twin)s already. Read both plates again.")
            params = {"serial": self.serial, "twin": str(twin)}
            raise ValidationError({"serial": ValidationError(words, code="serial", params=params)})

    def __str__(self) -> str:
        return f"{self.tag} {self.name}"


class Standing(models.TextChoices):
    """How a number came to us."""

    RETRIEVED = "retrieved", _("read at its source")
    MEMORY = "memory", _("from memory, unconfirmed")
    SITE = "site", _("set by the site")


class IntervalRule(Kept):
    """How often an act falls due on an item. Due dates are civil dates in the site's zone."""

    equipment = models.ForeignKey(Equipment, models.PROTECT, related_name="rules", verbose_name=_("equipment"))
    name = models.CharField(_("act"), max_length=120, help_text=_("For example calibration, function test."))
    months = models.PositiveSmallIntegerField(_("every, months"), default=0)
    days = models.PositiveSmallIntegerField(_("every, days"), default=0)
    window_days = models.PositiveSmallIntegerField(
        _("late window, days"), default=0, help_text=_("Whether the window keeps the item good is a house rule.")
    )
    counts = models.BooleanField(_("counts for readiness"), default=True)
    source = models.CharField(_("source"), max_length=200, blank=True, help_text=_("Code, edition and clause."))
    standing = models.CharField(_("standing"), max_length=10, choices=Standing.choices, default=Standing.SITE)

    SHOWN = ("equipment", "name", "months", "days", "window_days", "counts", "source", "standing")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["equipment", "name"], condition=Q(retired_at=None), name="one_rule_per_act"
            ),
            models.CheckConstraint(
                condition=Q(months__gt=0) | Q(days__gt=0), name="interval_is_not_nothing",
                violation_error_message=_("Give months or days: an interval of nothing never falls due."),
            ),
        ]  # fmt: skip
        ordering = ["equipment_id", "name"]

    def __str__(self) -> str:
        return f"{self.equipment.tag}: {self.name}"


class WorkResult(models.TextChoices):
    """What came of an act."""

    PASSED = "passed", _("passed")
    FAILED = "failed", _("failed")
    UNREAD = "could not read", _("could not read")


class WorkRecord(Entry):
    """One act done on an item under one of its rules, or outside any rule."""

    equipment = models.ForeignKey(Equipment, models.PROTECT, related_name="work", verbose_name=_("equipment"))
    rule = models.ForeignKey(
        IntervalRule, models.PROTECT, null=True, blank=True, related_name="work", verbose_name=_("act")
    )
    done_on = models.DateField(_("done on"))
    result = models.CharField(_("result"), max_length=14, choices=WorkResult.choices, default=WorkResult.PASSED)
    due_on = models.DateField(
        _("next due, if it differs"), null=True, blank=True,
        help_text=_("Only where the certificate gives its own date; otherwise it is reckoned from the interval."),
    )  # fmt: skip
    done_by = models.CharField(_("done by"), max_length=150)
    note = models.CharField(_("note"), max_length=500, blank=True)
    evidence = models.ForeignKey(
        Evidence, models.PROTECT, null=True, blank=True, related_name="+", verbose_name=_("certificate")
    )

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
