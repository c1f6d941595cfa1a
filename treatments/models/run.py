"""Runs: which chamber is in use, who is in it in which role, and who must wait afterwards."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from facility.models import Chamber, Check, Entry, Evidence, Kept, Lock, Person
from treatments.models.patient import Patient
from treatments.models.plan import Plan


class Purpose(models.TextChoices):
    """Why the chamber is pressurised."""

    TREATMENT = "treatment", _("treatment")
    TRAINING = "training", _("training")
    TEST = "test", _("test")


class Run(Kept):
    """One pressurisation of a chamber.

    It is opened before the chamber leaves surface (``started_at`` None until then). ``table`` is the table of that
    day as read_table() takes it, ``table_key`` and ``table_version`` say which (version 0: as shipped), so that a
    later version changes nothing here. The four ``writer`` fields say whose device writes the log now.
    """

    chamber = models.ForeignKey(Chamber, models.PROTECT, related_name="runs", verbose_name=_("chamber"))
    number = models.PositiveIntegerField(_("number"))
    purpose = models.CharField(_("purpose"), max_length=10, choices=Purpose.choices)
    plan = models.ForeignKey(Plan, models.PROTECT, related_name="runs", verbose_name=_("plan"))
    lock = models.ForeignKey(Lock, models.PROTECT, null=True, blank=True, related_name="runs", verbose_name=_("lock"))
    table_key = models.CharField(_("table"), max_length=60, blank=True)
    table_version = models.PositiveIntegerField(_("version of the table"), default=0)
    table = models.JSONField(_("the table as on that day"), default=dict, blank=True, editable=False)
    table_standing = models.CharField(max_length=12, blank=True, editable=False)
    opened_at = models.DateTimeField(_("opened at"), null=True, blank=True)
    started_at = models.DateTimeField(_("left surface at"), null=True, blank=True)
    planned_end_at = models.DateTimeField(_("planned end"), null=True, blank=True)
    ended_at = models.DateTimeField(_("reached surface at"), null=True, blank=True)
    supervisor = models.CharField(_("supervisor"), max_length=150)
    outside_house_rules = models.BooleanField(_("outside the house rules"), default=False)
    shown = models.TextField(_("what was shown when it started"), blank=True)
    alone_because = models.CharField(_("why one person has roles that should be apart"), max_length=500, blank=True)
    before_check = models.ForeignKey(Check, models.PROTECT, null=True, blank=True, related_name="+")
    after_check = models.ForeignKey(Check, models.PROTECT, null=True, blank=True, related_name="+")
    paper = models.ForeignKey(
        Evidence, models.PROTECT, null=True, blank=True, related_name="+", verbose_name=_("scan of the paper log")
    )
    writer = models.CharField(max_length=150, blank=True, editable=False)
    writer_user = models.PositiveIntegerField(null=True, blank=True, editable=False)
    writer_device = models.CharField(max_length=40, blank=True, editable=False)
    writer_since = models.DateTimeField(null=True, blank=True, editable=False)
    closed_at = models.DateTimeField(_("record closed at"), null=True, blank=True, editable=False)
    computed = models.JSONField(default=dict, blank=True, editable=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["chamber", "number"], name="run_number_once_per_chamber"),
            models.UniqueConstraint(
                fields=["chamber"], condition=Q(ended_at=None, retired_at=None), name="one_run_at_a_time"
            ),
            models.CheckConstraint(
                condition=Q(ended_at=None) | Q(ended_at__gte=F("started_at")), name="run_ends_after_start"
            ),
        ]
        ordering = [F("started_at").desc(nulls_first=True), "-number"]

    def __str__(self) -> str:
        return f"{self.chamber} {self.number}"


class RunRole(models.TextChoices):
    """What somebody does in a run."""

    SUPERVISOR = "supervisor", _("supervisor")
    PANEL = "panel", _("panel operator")
    LOG = "log", _("log keeper")
    TENDER = "tender", _("inside tender")
    OUTSIDE = "outside", _("outside tender")
    PHYSICIAN = "physician", _("physician")
    INSTRUCTOR = "instructor", _("instructor")
    TRAINEE = "trainee", _("trainee")
    PATIENT = "patient", _("patient")


class RunPlace(Kept):
    """One person in one role of a run. A patient is named only by ``label`` here, such as "patient 1"."""

    run = models.ForeignKey(Run, models.PROTECT, related_name="places", verbose_name=_("run"))
    role = models.CharField(_("role"), max_length=12, choices=RunRole.choices)
    label = models.CharField(_("name in the log"), max_length=60)
    person = models.ForeignKey(
        Person, models.PROTECT, null=True, blank=True, related_name="places", verbose_name=_("of the crew")
    )
    patient = models.ForeignKey(
        Patient, models.PROTECT, null=True, blank=True, related_name="places", verbose_name=_("patient")
    )
    inside = models.BooleanField(_("goes under pressure"), default=False)
    previous_exposure_at = models.DateTimeField(
        _("last under pressure before, until"), null=True, blank=True,
        help_text=_("Of a tender; empty: not within the time that the tender's oxygen asks about."),
    )  # fmt: skip

    SHOWN = ("run", "role", "label", "person", "inside")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["run", "role", "label"], condition=Q(retired_at=None), name="place_once_in_run"
            ),
        ]
        ordering = ["run_id", "id"]

    def __str__(self) -> str:
        return f"{self.label}, {self.get_role_display()}"


class ScreeningBefore(models.TextChoices):
    """Before what somebody was screened."""

    PRESSURE = "pressure", _("before pressurisation")
    LOCK_IN = "lock_in", _("before locking in")


class Asked(models.TextChoices):
    """An answer of a screening. Not asked is an answer too."""

    YES = "yes", _("yes")
    NO = "no", _("no")
    NOT_ASKED = "not asked", _("not asked")


class Screening(Entry):
    """One occupant screened by one named person. What was said about health stands in a clinical text, not here."""

    run = models.ForeignKey(Run, models.PROTECT, related_name="screenings", verbose_name=_("run"))
    occupant = models.ForeignKey(RunPlace, models.PROTECT, related_name="screenings", verbose_name=_("occupant"))
    before = models.CharField(_("when"), max_length=8, choices=ScreeningBefore.choices)
    screened_at = models.DateTimeField(_("screened at"))
    clothing = models.CharField(_("clothing is allowed inside"), max_length=10, choices=Asked.choices)
    items = models.CharField(_("carries nothing that may not go in"), max_length=10, choices=Asked.choices)
    ears = models.CharField(_("can clear the ears"), max_length=10, choices=Asked.choices)
    consent = models.CharField(_("consents"), max_length=10, choices=Asked.choices)
    contraindications = models.CharField(
        _("contraindications asked, and none named"), max_length=10, choices=Asked.choices
    )
    screened_by = models.CharField(_("screened by"), max_length=150)
    remark = models.CharField(_("remark, nothing about health"), max_length=300, blank=True)

    SHOWN = (
        "occupant", "before", "screened_at", "clothing", "items", "ears", "consent", "contraindications", "screened_by",
    )  # fmt: skip

    class Meta:
        ordering = ["screened_at", "id"]

    def __str__(self) -> str:
        return f"{self.occupant.label} {self.get_before_display()}"


class PressureWait(Entry):
    """A person may not go under pressure again before the end of this wait."""

    person = models.ForeignKey(Person, models.PROTECT, related_name="waits", verbose_name=_("person"))
    starts_at = models.DateTimeField(_("from"))
    ends_at = models.DateTimeField(_("until"))
    run = models.ForeignKey(Run, models.PROTECT, null=True, blank=True, related_name="waits", verbose_name=_("run"))
    why = models.CharField(_("why"), max_length=200, blank=True)

    SHOWN = ("person", "starts_at", "ends_at", "why")

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(ends_at__gt=F("starts_at")), name="wait_ends_after_start")]
        indexes = [models.Index(fields=["person", "ends_at"], condition=Q(retired_at=None), name="wait_current")]

    def __str__(self) -> str:
        return f"{self.person}: {self.ends_at:%d %b %H:%M}"
