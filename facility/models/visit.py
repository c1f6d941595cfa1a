"""Visits of an inspector: the door that opens for them for a time, what they found, how it was answered."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from facility.models.base import Entry, Kept
from facility.models.evidence import Evidence
from facility.models.site import Chamber, Site


class ReadingLink(Kept):
    """A secret address by which somebody without an account reads one site for a time. Revoked by retiring the row."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="reading_links", verbose_name=_("site"))
    chamber = models.ForeignKey(
        Chamber, models.PROTECT, null=True, blank=True, related_name="reading_links", verbose_name=_("chamber")
    )
    name = models.CharField(_("for"), max_length=150)
    organisation = models.CharField(_("organisation"), max_length=150, blank=True)
    scope = models.CharField(_("scope"), max_length=60, default="whole")
    from_day = models.DateField(_("records from"), null=True, blank=True)
    secret_sha256 = models.CharField(max_length=64, unique=True, editable=False)
    opens_at = models.DateTimeField(_("opens"))
    ends_at = models.DateTimeField(_("ends"))
    used_at = models.DateTimeField(_("last used"), null=True, editable=False)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(ends_at__gt=F("opens_at")), name="link_ends_after_opening")]
        ordering = ["-id"]

    def __str__(self) -> str:
        return self.name


class Inspection(Kept):
    """One visit."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="inspections", verbose_name=_("site"))
    visited_on = models.DateField(_("visited on"))
    inspector = models.CharField(_("inspector"), max_length=150)
    organisation = models.CharField(_("organisation"), max_length=150, blank=True)
    code = models.CharField(_("code"), max_length=150, blank=True)
    note = models.CharField(_("note"), max_length=500, blank=True)
    pack = models.ForeignKey(
        "facility.Pack", models.PROTECT, null=True, blank=True, related_name="inspections", verbose_name=_("pack")
    )

    SHOWN = ("visited_on", "inspector", "organisation", "code", "note")

    class Meta:
        ordering = ["-visited_on", "-id"]

    def __str__(self) -> str:
        return f"{self.visited_on}: {self.inspector}"


class VisitFinding(Kept):
    """What an inspector found: it is answered by a day, with evidence, and closed by somebody."""

    inspection = models.ForeignKey(Inspection, models.PROTECT, related_name="findings", verbose_name=_("visit"))
    number = models.PositiveIntegerField(_("number"))
    text = models.TextField(_("finding"), max_length=2000)
    clause = models.CharField(_("clause"), max_length=150, blank=True)
    due_on = models.DateField(_("to be answered by"))
    closed_on = models.DateField(_("closed on"), null=True, blank=True)
    closed_by = models.CharField(_("closed by"), max_length=150, blank=True)
    closed_note = models.CharField(_("in the inspector's words"), max_length=500, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["inspection", "number"], name="finding_number_once_per_visit")]
        ordering = ["inspection_id", "number"]

    def __str__(self) -> str:
        return f"{self.number}: {self.text[:60]}"

    @property
    def is_answered(self) -> bool:
        """Whether an answer that counts is on record."""
        return any(one.is_current for one in self.answers.all())


class FindingAnswer(Entry):
    """One answer to a finding, with what proves it."""

    finding = models.ForeignKey(VisitFinding, models.PROTECT, related_name="answers", verbose_name=_("finding"))
    text = models.TextField(_("answer"), max_length=2000)
    evidence = models.ForeignKey(
        Evidence, models.PROTECT, null=True, blank=True, related_name="+", verbose_name=_("paper")
    )
    of_event = models.PositiveBigIntegerField(_("event that proves it"), null=True, blank=True)

    class Meta:
        ordering = ["finding_id", "id"]

    def __str__(self) -> str:
        return f"{self.finding_id}: {self.text[:60]}"
