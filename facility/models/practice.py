"""Practice and passing on: drills, procedures, hand-overs, and who declares to be fit today."""

from __future__ import annotations

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from facility.models.base import Entry, Kept
from facility.models.evidence import Evidence
from facility.models.people import Person
from facility.models.site import Site


class DrillKind(Kept):
    """What is practised: fire in the chamber, lost pressure, unconscious tender, power failure."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="drill_kinds", verbose_name=_("site"))
    key = models.SlugField(_("key"), max_length=60)
    name = models.CharField(_("name"), max_length=150)
    every_days = models.PositiveSmallIntegerField(
        _("each person every, days"), default=180, validators=[MinValueValidator(1)]
    )
    goal = models.CharField(_("what must be reached"), max_length=300, blank=True)
    goal_min = models.DecimalField(
        _("within, minutes"), max_digits=6, decimal_places=1, null=True, blank=True, validators=[MinValueValidator(0)]
    )
    source = models.CharField(_("source"), max_length=200, blank=True)

    SHOWN = ("key", "name", "every_days", "goal", "goal_min", "source")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["site", "key"], name="drill_kind_once_per_site")]
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class Drill(Entry):
    """One drill as it was held: how long it took, what went wrong, what is done about it."""

    kind = models.ForeignKey(DrillKind, models.PROTECT, related_name="drills", verbose_name=_("drill"))
    held_at = models.DateTimeField(_("held at"))
    minutes = models.DecimalField(
        _("minutes until the goal was reached"), max_digits=6, decimal_places=1, null=True, blank=True,
        validators=[MinValueValidator(0)], help_text=_("Empty: it was not reached, or not timed."),
    )  # fmt: skip
    announced = models.BooleanField(_("announced beforehand"), default=True)
    reached = models.BooleanField(_("the goal was reached"), default=True)
    went_wrong = models.CharField(_("what went wrong"), max_length=500, blank=True)
    actions = models.CharField(_("what is done about it"), max_length=500, blank=True)
    led_by = models.CharField(_("led by"), max_length=150)
    evidence = models.ForeignKey(
        Evidence, models.PROTECT, null=True, blank=True, related_name="+", verbose_name=_("paper")
    )

    class Meta:
        ordering = ["-held_at", "-id"]

    def __str__(self) -> str:
        return f"{self.kind} {self.held_at:%Y-%m-%d}"


class DrillPart(Kept):
    """One person in one drill."""

    drill = models.ForeignKey(Drill, models.PROTECT, related_name="parts", verbose_name=_("drill"))
    person = models.ForeignKey(Person, models.PROTECT, related_name="drill_parts", verbose_name=_("person"))
    role = models.CharField(_("as"), max_length=60, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["drill", "person"], condition=Q(retired_at=None), name="person_once_in_drill"
            )
        ]
        ordering = ["drill_id", "id"]

    def __str__(self) -> str:
        return f"{self.person}: {self.drill}"


class Procedure(Entry):
    """One version of a written procedure, approved, in force from an instant on. Never edited."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="procedures", verbose_name=_("site"))
    key = models.SlugField(_("key"), max_length=60)
    version = models.PositiveIntegerField(_("version"), default=1, editable=False)
    title = models.CharField(_("title"), max_length=200)
    text = models.TextField(_("text"), blank=True, help_text=_("One step a line; or attach the paper."))
    evidence = models.ForeignKey(
        Evidence, models.PROTECT, null=True, blank=True, related_name="+", verbose_name=_("paper")
    )
    in_force_from = models.DateTimeField(_("in force from"))
    approved_by = models.CharField(_("approved by"), max_length=150)
    why = models.CharField(_("what changed and why"), max_length=500, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["site", "key", "version"], name="procedure_version_once"),
        ]
        ordering = ["key", "-version"]

    def __str__(self) -> str:
        return f"{self.title}, {self.version}"


class ProcedureRead(Entry):
    """A person says to have read one version of a procedure."""

    procedure = models.ForeignKey(Procedure, models.PROTECT, related_name="reads", verbose_name=_("procedure"))
    person = models.ForeignKey(Person, models.PROTECT, related_name="reads", verbose_name=_("person"))
    read_at = models.DateTimeField(_("read at"))

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["procedure", "person"], condition=Q(retired_at=None), name="version_read_once_by_each"
            )
        ]
        ordering = ["-read_at", "-id"]

    def __str__(self) -> str:
        return f"{self.person}: {self.procedure}"


class HandOver(Entry):
    """What one shift passes to the next. Prepared from the record, ended by the one who receives it.

    ``prepared`` is what the page showed: state, what changed, what is open. ``expect`` and ``if_then`` are written
    by hand. Until ``received_at`` it is open.
    """

    site = models.ForeignKey(Site, models.PROTECT, related_name="hand_overs", verbose_name=_("site"))
    given_at = models.DateTimeField(_("given at"))
    given_by = models.CharField(_("given by"), max_length=150)
    given_user = models.PositiveIntegerField(null=True, blank=True, editable=False)
    prepared = models.JSONField(default=dict, editable=False)
    expect = models.TextField(_("what to expect"), max_length=2000, blank=True)
    if_then = models.TextField(_("if this happens, do that"), max_length=2000, blank=True)
    received_at = models.DateTimeField(null=True, blank=True, editable=False)
    received_by = models.CharField(max_length=150, blank=True, editable=False)
    received_user = models.PositiveIntegerField(null=True, blank=True, editable=False)
    read_back = models.TextField(_("said back in own words"), max_length=1000, blank=True, editable=False)

    class Meta:
        ordering = ["-given_at", "-id"]

    def __str__(self) -> str:
        return f"{self.given_by} {self.given_at:%Y-%m-%d %H:%M}"


class FitDeclared(Entry):
    """What somebody of the crew says of being fit for pressure on one day. Never why: that is a physician's matter."""

    person = models.ForeignKey(Person, models.PROTECT, related_name="declared", verbose_name=_("person"))
    declared_at = models.DateTimeField(_("declared at"))
    until = models.DateTimeField(_("until"))
    fit = models.BooleanField(_("fit to go under pressure"))

    SHOWN = ("person", "declared_at", "until", "fit")

    class Meta:
        indexes = [models.Index(fields=["person", "-declared_at"], name="declared_newest")]
        ordering = ["-declared_at", "-id"]

    def __str__(self) -> str:
        return f"{self.person}: {self.declared_at:%Y-%m-%d}"
