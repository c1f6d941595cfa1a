"""References, their certificates, calibrations that rest on them, and recalls when one turns out bad."""

from __future__ import annotations

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from facility.models import Entry, Evidence, Kept, Site
from maintenance.models.equipment import Equipment
from maintenance.models.work import WorkRecord


class Reference(Kept):
    """An instrument or a test gas that others are compared with; it may be on loan."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="references", verbose_name=_("site"))
    key = models.SlugField(_("key"), max_length=60, help_text=_("For example master-gauge-1."))
    name = models.CharField(_("name"), max_length=150)
    maker = models.CharField(_("maker"), max_length=120, blank=True)
    serial = models.CharField(_("serial number"), max_length=80, blank=True)
    owner = models.CharField(_("owner"), max_length=150, blank=True, help_text=_("Empty: the site's own."))
    return_by = models.DateField(_("to be returned by"), null=True, blank=True)
    scale_low = models.DecimalField(_("scale from"), max_digits=12, decimal_places=4, default=0)
    scale_high = models.DecimalField(_("scale to"), max_digits=12, decimal_places=4, null=True, blank=True)
    unit = models.CharField(_("unit"), max_length=20)
    accuracy_class = models.CharField(_("class or grade"), max_length=60, blank=True)
    equipment = models.ForeignKey(
        Equipment, models.PROTECT, null=True, blank=True, related_name="as_reference",
        verbose_name=_("is this item of the plant"),
    )  # fmt: skip

    SHOWN = (
        "key", "name", "maker", "serial", "owner", "return_by", "scale_low", "scale_high", "unit", "accuracy_class",
        "equipment",
    )  # fmt: skip

    class Meta:
        constraints = [models.UniqueConstraint(fields=["site", "key"], name="reference_key_once_per_site")]
        ordering = ["key"]

    def __str__(self) -> str:
        return self.name


class ReferenceCertificate(Entry):
    """A certificate of a reference, as printed: what it is worth and until when."""

    reference = models.ForeignKey(Reference, models.PROTECT, related_name="certificates", verbose_name=_("reference"))
    number = models.CharField(_("number of the certificate"), max_length=80)
    issuer = models.CharField(_("issued by"), max_length=150)
    accreditation = models.CharField(_("accreditation mark"), max_length=80, blank=True)
    calibrated_on = models.DateField(_("calibrated on"))
    due_on = models.DateField(_("good until"), null=True, blank=True)
    expanded_uncertainty = models.DecimalField(
        _("expanded uncertainty U"), max_digits=12, decimal_places=5, validators=[MinValueValidator(0)]
    )
    coverage_factor = models.DecimalField(
        _("coverage factor k"), max_digits=5, decimal_places=2, default=2, validators=[MinValueValidator(1)]
    )
    unit = models.CharField(_("unit"), max_length=20)
    passed = models.BooleanField(_("within its limits"), default=True)
    rests_on = models.ForeignKey(
        "self", models.PROTECT, null=True, blank=True, related_name="carries", verbose_name=_("rests on certificate"),
        help_text=_("Where the reference was compared with another of the site's."),
    )  # fmt: skip
    evidence = models.ForeignKey(
        Evidence, models.PROTECT, null=True, blank=True, related_name="+", verbose_name=_("scan")
    )
    needs_second_look = models.BooleanField(default=False, editable=False)
    second_look_by = models.CharField(max_length=150, blank=True, editable=False)
    second_look_at = models.DateTimeField(null=True, blank=True, editable=False)

    SHOWN = (
        "reference", "number", "issuer", "accreditation", "calibrated_on", "due_on", "expanded_uncertainty",
        "coverage_factor", "unit", "passed", "rests_on", "evidence",
    )  # fmt: skip

    class Meta:
        indexes = [models.Index(fields=["reference", "-calibrated_on", "-id"], name="certificate_newest")]
        ordering = ["-calibrated_on", "-id"]

    def __str__(self) -> str:
        return f"{self.reference} {self.number}"


class Calibration(Entry):
    """A comparison of an instrument with a reference. Its verdict also stands in its record of work.

    Points: [{reference, up, down, up_again}], as typed. ``choices`` holds what was decided beforehand
    (limit, decision rule, guard), ``means`` what the uncertainty was made of, ``computed`` what came of it, as on
    that day.
    """

    work = models.OneToOneField(
        WorkRecord, models.PROTECT, related_name="calibration", verbose_name=_("record of work"), editable=False
    )
    equipment = models.ForeignKey(Equipment, models.PROTECT, related_name="calibrations", verbose_name=_("instrument"))
    certificate = models.ForeignKey(
        ReferenceCertificate, models.PROTECT, null=True, blank=True, related_name="calibrations",
        verbose_name=_("certificate of the reference"), help_text=_("As on that day."),
    )  # fmt: skip
    laboratory = models.CharField(
        _("laboratory"), max_length=150, blank=True, help_text=_("Where it was done elsewhere, on its own certificate.")
    )
    done_on = models.DateField(_("done on"))
    unit = models.CharField(_("unit"), max_length=20)
    scale_low = models.DecimalField(_("scale from"), max_digits=12, decimal_places=4)
    scale_high = models.DecimalField(_("scale to"), max_digits=12, decimal_places=4)
    as_found = models.JSONField(_("as found"), default=list)
    as_left = models.JSONField(_("as left"), default=list, blank=True)
    adjusted = models.BooleanField(_("adjusted"), default=False)
    choices = models.JSONField(_("chosen beforehand"), default=dict)
    means = models.JSONField(_("uncertainty"), default=dict)
    environment = models.JSONField(_("surroundings"), default=dict, blank=True)
    computed = models.JSONField(_("computed"), default=dict, editable=False)
    done_by = models.CharField(_("done by"), max_length=150)
    note = models.CharField(_("note"), max_length=500, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(scale_high__gt=models.F("scale_low")), name="scale_has_a_span"),
        ]
        indexes = [models.Index(fields=["equipment", "-done_on", "-id"], name="calibration_newest")]
        ordering = ["-done_on", "-id"]

    def __str__(self) -> str:
        return f"{self.equipment.tag} {self.done_on}"


class Recall(Entry):
    """A reference or an analyser turned out bad: what rested on it since its last good day is in doubt."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="recalls", verbose_name=_("site"))
    reference = models.ForeignKey(
        Reference, models.PROTECT, null=True, blank=True, related_name="recalls", verbose_name=_("reference")
    )
    equipment = models.ForeignKey(
        Equipment, models.PROTECT, null=True, blank=True, related_name="recalls", verbose_name=_("or analyser")
    )
    last_good_on = models.DateField(_("last day it was known good"))
    found_on = models.DateField(_("found bad on"))
    why = models.CharField(_("how it was found out"), max_length=500)
    evidence = models.ForeignKey(
        Evidence, models.PROTECT, null=True, blank=True, related_name="+", verbose_name=_("report")
    )

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(reference__isnull=False, equipment=None) | Q(reference=None, equipment__isnull=False),
                name="recall_of_one_thing",
                violation_error_message=_("Name the reference or the analyser, one of the two."),
            ),
            models.CheckConstraint(
                condition=Q(found_on__gte=models.F("last_good_on")), name="found_after_last_good",
                violation_error_message=_("It was found bad before its last good day. Read both days again."),
            ),
        ]  # fmt: skip
        ordering = ["-found_on", "-id"]

    def __str__(self) -> str:
        return f"{self.reference or self.equipment} {self.found_on}"


class RecallAnswer(Entry):
    """What was decided on one thing in doubt: it stands after all, with a reason, or was done again."""

    recall = models.ForeignKey(Recall, models.PROTECT, related_name="answers", verbose_name=_("recall"))
    subject_kind = models.CharField(max_length=60)
    subject_id = models.PositiveBigIntegerField()
    stands = models.BooleanField(_("stands after all"))
    why = models.CharField(_("why"), max_length=500)
    decided_by = models.CharField(_("decided by"), max_length=150)

    class Meta:
        indexes = [models.Index(fields=["recall", "subject_kind", "subject_id"], name="recall_answer_of")]
        ordering = ["-id"]

    def __str__(self) -> str:
        return f"{self.recall}: {self.subject_kind} {self.subject_id}"
