"""Runs, as far as readiness needs them: which chamber is in use, and who must wait afterwards."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from facility.models import Chamber, Check, Entry, Kept, Person
from treatments.models.plan import Plan


class Purpose(models.TextChoices):
    """Why the chamber is pressurised."""

    TREATMENT = "treatment", _("treatment")
    TRAINING = "training", _("training")
    TEST = "test", _("test")


class Run(Kept):
    """One pressurisation of a chamber."""

    chamber = models.ForeignKey(Chamber, models.PROTECT, related_name="runs", verbose_name=_("chamber"))
    number = models.PositiveIntegerField(_("number"))
    purpose = models.CharField(_("purpose"), max_length=10, choices=Purpose.choices)
    plan = models.ForeignKey(Plan, models.PROTECT, related_name="runs", verbose_name=_("plan"))
    started_at = models.DateTimeField(_("left surface at"))
    planned_end_at = models.DateTimeField(_("planned end"))
    ended_at = models.DateTimeField(_("reached surface at"), null=True, blank=True)
    supervisor = models.CharField(_("supervisor"), max_length=150)
    outside_house_rules = models.BooleanField(_("outside the house rules"), default=False)
    shown = models.TextField(_("what was shown when it started"), blank=True)
    before_check = models.ForeignKey(Check, models.PROTECT, null=True, blank=True, related_name="+")
    after_check = models.ForeignKey(Check, models.PROTECT, null=True, blank=True, related_name="+")

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
        ordering = ["-started_at"]

    def __str__(self) -> str:
        return f"{self.chamber} {self.number}"


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
