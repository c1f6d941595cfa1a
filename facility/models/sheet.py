"""Check sheets (versioned data), checks, answers and signatures."""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from facility.models.base import Entry, Kept
from facility.models.evidence import Evidence
from facility.models.people import User
from facility.models.site import Chamber


class Occasion(models.TextChoices):
    """When a sheet is walked."""

    DAILY = "daily", _("daily")
    BEFORE_RUN = "before_run", _("before each run")
    AFTER_RUN = "after_run", _("after each run")
    WEEKLY = "weekly", _("weekly")
    MONTHLY = "monthly", _("monthly")
    BEFORE_SERVICE = "before_service", _("before service")


class CheckSheet(Kept):
    """A sheet of one chamber; what is on it stands in its versions."""

    chamber = models.ForeignKey(Chamber, models.PROTECT, related_name="sheets", verbose_name=_("chamber"))
    key = models.SlugField(_("key"), max_length=60)
    title = models.CharField(_("title"), max_length=150)
    occasion = models.CharField(_("occasion"), max_length=15, choices=Occasion.choices)

    SHOWN = ("key", "title", "occasion")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["chamber", "key"], name="sheet_key_once_per_chamber")]
        ordering = ["chamber_id", "key"]

    def __str__(self) -> str:
        return self.title


class SheetVersion(Entry):
    """What a sheet asks, in walking order. A version in force is never edited.

    ``steps`` is a list of plain objects; their shape is checked by facility.compute.sheets.
    """

    sheet = models.ForeignKey(CheckSheet, models.PROTECT, related_name="versions", verbose_name=_("sheet"))
    version = models.PositiveIntegerField(_("version"))
    steps = models.JSONField(_("steps"))
    approved_by = models.CharField(_("approved by"), max_length=150)
    in_force_from = models.DateTimeField(_("in force from"))

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["sheet", "version"], name="sheet_version_once"),
            models.UniqueConstraint(fields=["sheet"], condition=Q(retired_at=None), name="one_sheet_version_in_force"),
        ]
        ordering = ["sheet_id", "-version"]

    def __str__(self) -> str:
        return f"{self.sheet}, version {self.version}"


class CheckState(models.TextChoices):
    """Where a check stands."""

    OPEN = "open", _("unfinished")
    SIGNED = "signed", _("signed")
    GIVEN_UP = "given_up", _("given up")


class CheckResult(models.TextChoices):
    """What a signed check says; ``unread`` is never a pass."""

    PASSED = "passed", _("passed")
    LIMITS = "limits", _("passed with limits")
    UNREAD = "unread", _("could not read all")
    FAILED = "failed", _("failed")


class Check(Kept):
    """One walk through one version of a sheet."""

    sheet = models.ForeignKey(CheckSheet, models.PROTECT, related_name="checks", verbose_name=_("sheet"))
    version = models.ForeignKey(SheetVersion, models.PROTECT, related_name="checks", verbose_name=_("version"))
    number = models.PositiveIntegerField(_("number"))
    state = models.CharField(max_length=10, choices=CheckState.choices, default=CheckState.OPEN)
    started_at = models.DateTimeField(_("begun at"))
    started_by = models.CharField(_("begun by"), max_length=150)
    left_off_at = models.DateTimeField(_("broken off at"), null=True, blank=True)
    here = models.CharField(_("last step"), max_length=60, blank=True)
    signed_at = models.DateTimeField(_("signed at"), null=True, blank=True)
    signed_by = models.CharField(_("signed by"), max_length=150, blank=True)
    result = models.CharField(_("result"), max_length=8, choices=CheckResult.choices, blank=True)
    on_paper = models.BooleanField(_("keyed in from paper"), default=False)
    scan = models.ForeignKey(Evidence, models.PROTECT, null=True, blank=True, related_name="+", verbose_name=_("scan"))

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=~Q(state="signed") | (Q(signed_at__isnull=False) & ~Q(signed_by="") & ~Q(result="")),
                name="signed_check_has_name_time_result",
            )
        ]
        indexes = [
            models.Index(fields=["sheet", "-signed_at"], condition=Q(state="signed"), name="check_newest_signed"),
            models.Index(fields=["sheet"], condition=Q(state="open"), name="check_unfinished"),
        ]
        ordering = ["-started_at"]

    def __str__(self) -> str:
        return f"{self.sheet} {self.number}"


class Outcome(models.TextChoices):
    """What an answer says."""

    GOOD = "good", _("Within limits")
    BAD = "bad", _("Outside limits")
    UNREAD = "unread", _("Could not read")
    NOT_FITTED = "not_fitted", _("Not fitted")


class Answer(Entry):
    """One answer to one step. A second answer does not replace the first: the worse counts,
    unless it supersedes it with a reason."""

    check_done = models.ForeignKey(Check, models.PROTECT, related_name="answers", verbose_name=_("check"))
    client_id = models.UUIDField(_("made by the device"), unique=True, default=uuid.uuid4)
    step = models.CharField(_("step"), max_length=60)
    outcome = models.CharField(_("outcome"), max_length=10, choices=Outcome.choices)
    value = models.CharField(_("as typed"), max_length=40, blank=True)
    unit = models.CharField(_("unit"), max_length=12, blank=True)
    choice = models.CharField(_("choice"), max_length=60, blank=True)
    note = models.CharField(_("note"), max_length=500, blank=True)
    second_person = models.CharField(_("second person"), max_length=150, blank=True)
    photo = models.ForeignKey(
        Evidence, models.PROTECT, null=True, blank=True, related_name="+", verbose_name=_("photo")
    )
    late = models.BooleanField(default=False)

    class Meta:
        indexes = [models.Index(fields=["check_done", "step"], name="answer_of_check")]

    def __str__(self) -> str:
        return f"{self.step}: {self.get_outcome_display()}"


class Signature(Entry):
    """A signature with its meaning, bound by digest to what was shown when it was given."""

    check_done = models.ForeignKey(Check, models.PROTECT, related_name="signatures", verbose_name=_("check"))
    user = models.ForeignKey(User, models.PROTECT, related_name="+", verbose_name=_("account"))
    name = models.CharField(_("name"), max_length=150)
    meaning = models.CharField(_("meaning"), max_length=200)
    shown_sha256 = models.CharField(max_length=64)

    def __str__(self) -> str:
        return f"{self.name}: {self.meaning}"
