"""The log of a run: entries, clinical texts kept apart, recorded profiles, exposures and signatures."""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from facility.models import Entry, Evidence, Kept, Person, PressureUnit
from treatments.models.run import Run, RunPlace


class LogKind(models.TextChoices):
    """What an entry of the log says."""

    LEFT_SURFACE = "left_surface", _("left surface")
    REACHED_DEPTH = "reached_depth", _("reached depth")
    LEFT_DEPTH = "left_depth", _("left depth")
    REACHED_STOP = "reached_stop", _("reached stop")
    LEFT_STOP = "left_stop", _("left stop")
    REACHED_SURFACE = "reached_surface", _("reached surface")
    READING = "reading", _("reading")
    OXYGEN_ON = "oxygen_on", _("on oxygen")
    OXYGEN_OFF = "oxygen_off", _("off oxygen")
    AIR_BREAK = "air_break", _("air break")
    LOCK_IN = "lock_in", _("locked in")
    LOCK_OUT = "lock_out", _("locked out")
    EXTENSION = "extension", _("extension")
    SYMPTOM = "symptom", _("symptom")
    RELIEF = "relief", _("relief")
    EXAMINATION = "examination", _("examination")
    OUTCOME = "outcome", _("outcome")
    DRUG = "drug", _("drug")
    FLUID_IN = "fluid_in", _("fluid in")
    FLUID_OUT = "fluid_out", _("fluid out")
    VENTILATION = "ventilation", _("ventilation")
    COMMUNICATION_LOST = "communication_lost", _("communication lost")
    COMMUNICATION_BACK = "communication_back", _("communication back")
    OXYGEN_TOXICITY = "oxygen_toxicity", _("sign of oxygen toxicity")
    OXYGEN_LOST = "oxygen_lost", _("oxygen supply lost")
    OXYGEN_BACK = "oxygen_back", _("oxygen supply back")
    NOTE = "note", _("note")


class LogEntry(Entry):
    """One line of a run's log. ``occurred_at`` is when it happened, ``recorded_at`` when the box got it.

    ``values`` holds what was typed, each as text with its unit in the name of the key: see
    treatments.compute.log_values. ``client_id`` is made on the device, so that a repeat is stored once.
    Nothing is overwritten: a correction supersedes, a strike-through retires.
    """

    run = models.ForeignKey(Run, models.PROTECT, related_name="entries", verbose_name=_("run"))
    client_id = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    kind = models.CharField(_("what"), max_length=20, choices=LogKind.choices)
    occupant = models.ForeignKey(
        RunPlace, models.PROTECT, null=True, blank=True, related_name="entries", verbose_name=_("who")
    )
    depth = models.DecimalField(_("depth, gauge"), max_digits=8, decimal_places=2, null=True, blank=True)
    depth_unit = models.CharField(_("unit"), max_length=4, choices=PressureUnit.choices, blank=True)
    values = models.JSONField(_("values"), default=dict, blank=True)
    remark = models.CharField(_("remark, nothing about health"), max_length=300, blank=True)
    late = models.BooleanField(_("late entry"), default=False, editable=False)
    clock_suspect = models.BooleanField(default=False, editable=False)
    from_paper = models.BooleanField(default=False, editable=False)

    class Meta:
        indexes = [
            models.Index(fields=["run", "occurred_at", "id"], condition=Q(retired_at=None), name="log_in_order"),
            models.Index(fields=["run", "id"], name="log_as_it_came"),
        ]
        ordering = ["occurred_at", "id"]

    def __str__(self) -> str:
        return f"{self.run} {self.get_kind_display()}"


class ClinicalText(Kept):
    """What was written about somebody's health, kept apart from the log with its own permission.

    Its service writes events that hold the salted digest, never the text.
    """

    run = models.ForeignKey(Run, models.PROTECT, related_name="clinical_texts", verbose_name=_("run"))
    entry = models.OneToOneField(
        LogEntry, models.PROTECT, null=True, blank=True, related_name="clinical", verbose_name=_("entry")
    )
    about = models.ForeignKey(
        RunPlace, models.PROTECT, null=True, blank=True, related_name="clinical_texts", verbose_name=_("about")
    )
    text = models.TextField(_("text"))
    salt = models.BinaryField(max_length=16, editable=False)
    erased_at = models.DateTimeField(null=True, blank=True, editable=False)

    def __str__(self) -> str:
        return f"{_('clinical text')} {self.pk}"


class RecordedProfile(Entry):
    """A profile that an instrument recorded, stored by digest, cut into holds and ramps.

    ``pieces``: [[kind, start_min, end_min, start_fsw, end_fsw]]; minutes from the first sample.
    ``offset_s`` moves it onto the run's clock: seconds from the first sample to "left surface".
    """

    run = models.ForeignKey(Run, models.PROTECT, related_name="profiles", verbose_name=_("run"))
    evidence = models.ForeignKey(Evidence, models.PROTECT, related_name="+", verbose_name=_("file"))
    instrument = models.CharField(_("instrument"), max_length=150)
    depth_unit = models.CharField(_("unit of its depths"), max_length=12)
    samples = models.PositiveIntegerField(editable=False, default=0)
    offset_s = models.FloatField(editable=False, default=0)
    columns = models.JSONField(default=dict, editable=False)
    pieces = models.JSONField(default=list, editable=False)
    findings = models.JSONField(default=list, editable=False)

    class Meta:
        ordering = ["-id"]

    def __str__(self) -> str:
        return f"{self.run} {self.instrument}"


class Exposure(Entry):
    """What one person took under pressure in one run, computed when the record was closed."""

    run = models.ForeignKey(Run, models.PROTECT, related_name="exposures", verbose_name=_("run"))
    occupant = models.ForeignKey(RunPlace, models.PROTECT, related_name="exposures", verbose_name=_("who"))
    person = models.ForeignKey(
        Person, models.PROTECT, null=True, blank=True, related_name="exposures", verbose_name=_("of the crew")
    )
    starts_at = models.DateTimeField(_("from"))
    ends_at = models.DateTimeField(_("until"))
    deepest_fsw = models.DecimalField(_("deepest, fsw"), max_digits=7, decimal_places=2)
    minutes = models.DecimalField(_("minutes under pressure"), max_digits=9, decimal_places=2)
    oxygen_min = models.DecimalField(_("minutes on oxygen"), max_digits=9, decimal_places=2)
    uptd = models.DecimalField(_("UPTD"), max_digits=9, decimal_places=2, null=True, blank=True)
    cns_fraction = models.DecimalField(
        _("CNS fraction"), max_digits=8, decimal_places=4, null=True, blank=True,
        help_text=_("Empty: outside the table of limits."),
    )  # fmt: skip
    convention = models.CharField(max_length=60)
    oxygen_owed_min = models.DecimalField(
        _("tender oxygen asked, minutes"), max_digits=7, decimal_places=1, null=True, blank=True
    )

    SHOWN = ("run", "occupant", "starts_at", "ends_at", "deepest_fsw", "minutes", "oxygen_min", "uptd", "cns_fraction")

    class Meta:
        indexes = [models.Index(fields=["person", "-ends_at"], name="exposure_newest")]
        ordering = ["-ends_at", "-id"]

    def __str__(self) -> str:
        return f"{self.occupant.label} {self.run}"


class SignatureOf(models.TextChoices):
    """In what capacity somebody signs the record of a run."""

    SUPERVISOR = "supervisor", _("supervisor")
    PHYSICIAN = "physician", _("physician")


class RunSignature(Entry):
    """A signature under a run's record, bound to the digest of what was shown. Void once the record differs."""

    run = models.ForeignKey(Run, models.PROTECT, related_name="signatures", verbose_name=_("run"))
    capacity = models.CharField(_("signs as"), max_length=10, choices=SignatureOf.choices)
    signed_at = models.DateTimeField(_("signed at"))
    signed_by = models.CharField(_("signed by"), max_length=150)
    signed_user = models.PositiveIntegerField(null=True, blank=True)
    meaning = models.CharField(_("meaning"), max_length=300)
    comment = models.CharField(_("comment, nothing about health"), max_length=500, blank=True)
    shown = models.TextField(_("what was shown"), editable=False)
    digest = models.CharField(max_length=64, editable=False)

    class Meta:
        ordering = ["signed_at", "id"]

    def __str__(self) -> str:
        return f"{self.run} {self.get_capacity_display()}"
