"""Needs, plans and waivers: what a run would rest on."""

from __future__ import annotations

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from facility.models import Chamber, CheckSheet, Entry, Kept
from maintenance.models import Equipment, Gas, GasBank


class NeedEffect(models.TextChoices):
    """What happens when a need is not met."""

    STOPS = "stops", _("stops the run")
    LIMITS = "limits", _("limits the run")


class Need(Kept):
    """Something a run rests on, met by at least ``k`` of its members."""

    chamber = models.ForeignKey(Chamber, models.PROTECT, related_name="needs", verbose_name=_("chamber"))
    key = models.SlugField(_("key"), max_length=60)
    name = models.CharField(_("name"), max_length=150)
    k = models.PositiveSmallIntegerField(_("at least"), default=1, validators=[MinValueValidator(1)])
    from_min = models.PositiveIntegerField(_("from minute of the run"), default=0)
    to_min = models.PositiveIntegerField(
        _("to minute of the run"), null=True, blank=True, help_text=_("Empty: to its end.")
    )
    effect = models.CharField(_("if not met"), max_length=6, choices=NeedEffect.choices, default=NeedEffect.STOPS)
    waivable = models.BooleanField(_("may be waived"), default=True)
    gas = models.CharField(_("gas, for banks only"), max_length=4, choices=Gas.choices, blank=True)
    source = models.CharField(_("source"), max_length=200, blank=True)
    lift = models.CharField(_("who can lift it"), max_length=200, blank=True)

    SHOWN = ("chamber", "key", "name", "k", "from_min", "to_min", "effect", "waivable", "gas", "source", "lift")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["chamber", "key"], name="need_key_once_per_chamber"),
            models.CheckConstraint(
                condition=Q(k__gte=1), name="need_asks_for_one", violation_error_message=_("A need asks for 1 or more.")
            ),
        ]
        ordering = ["chamber_id", "key"]

    def __str__(self) -> str:
        return self.name


class NeedMember(Kept):
    """One member of a need: an item of equipment, a gas bank or a check sheet."""

    need = models.ForeignKey(Need, models.PROTECT, related_name="members", verbose_name=_("need"))
    equipment = models.ForeignKey(
        Equipment, models.PROTECT, null=True, blank=True, related_name="needed_by", verbose_name=_("equipment")
    )
    bank = models.ForeignKey(
        GasBank, models.PROTECT, null=True, blank=True, related_name="needed_by", verbose_name=_("gas bank")
    )
    sheet = models.ForeignKey(
        CheckSheet, models.PROTECT, null=True, blank=True, related_name="needed_by", verbose_name=_("check sheet")
    )

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=(
                    Q(equipment__isnull=False, bank=None, sheet=None)
                    | Q(equipment=None, bank__isnull=False, sheet=None)
                    | Q(equipment=None, bank=None, sheet__isnull=False)
                ),
                name="member_is_one_thing",
                violation_error_message=_("A member is one item, one bank or one check sheet."),
            )
        ]
        ordering = ["need_id", "id"]

    def __str__(self) -> str:
        return str(self.equipment or self.bank or self.sheet)


class Plan(Entry):
    """One version of what a run would demand. The version in force is never edited.

    ``extensions`` [{minutes, allowed}], ``roles`` [{role, count, qualifications, medical,
    from, to}] and ``gas`` {name: {demand, reserve}} have the shapes that
    treatments.compute.plans checks. Litres at 15 °C and 1 atm.
    """

    chamber = models.ForeignKey(Chamber, models.PROTECT, related_name="plans", verbose_name=_("chamber"))
    key = models.SlugField(_("key"), max_length=60)
    version = models.PositiveIntegerField(_("version"), default=1, editable=False)
    name = models.CharField(_("name"), max_length=120, help_text=_("For example Table 6."))
    party = models.CharField(_("party"), max_length=120, help_text=_("For example 1 patient, 1 tender."))
    place = models.PositiveSmallIntegerField(_("place in the list"), default=0)
    table = models.CharField(
        _("treatment table"), max_length=60, blank=True, help_text=_("Key of the table that a run of it follows.")
    )
    table_min = models.PositiveIntegerField(_("table, descent included, minutes"), validators=[MinValueValidator(1)])
    margin_min = models.PositiveIntegerField(_("margin, minutes"))
    wait_min = models.PositiveIntegerField(_("wait of those inside afterwards, minutes"))
    extensions = models.JSONField(_("extensions"), default=list, blank=True)
    roles = models.JSONField(_("crew"), default=list, blank=True)
    emergency_roles = models.JSONField(
        _("emergency crew"), default=list, blank=True, help_text=_("The least crew in an emergency, by house rule.")
    )
    gas = models.JSONField(_("gas"), default=dict, blank=True)
    crew_waivable = models.BooleanField(_("crew may be waived"), default=True)
    needs = models.ManyToManyField(Need, related_name="plans", verbose_name=_("needs"), blank=True)
    source = models.CharField(_("source"), max_length=200, blank=True)
    approved_by = models.CharField(_("approved by"), max_length=150)
    in_force_from = models.DateTimeField(_("in force from"))

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["chamber", "key", "version"], name="plan_version_once"),
            models.UniqueConstraint(
                fields=["chamber", "key"], condition=Q(retired_at=None), name="one_plan_version_in_force"
            ),
        ]
        ordering = ["chamber_id", "place", "key"]

    def __str__(self) -> str:
        return self.name


class Waiver(Entry):
    """A named person's dated, bounded decision to run although a finding is not met."""

    chamber = models.ForeignKey(Chamber, models.PROTECT, related_name="waivers", verbose_name=_("chamber"))
    need = models.ForeignKey(
        Need, models.PROTECT, null=True, blank=True, related_name="waivers", verbose_name=_("need"),
        help_text=_("Empty: the crew."),
    )  # fmt: skip
    plans = models.JSONField(_("only for these plans"), null=True, blank=True)
    starts_at = models.DateTimeField(_("from"))
    ends_at = models.DateTimeField(_("until"))
    to_end_of_run = models.BooleanField(_("to the end of a run begun in it"), default=False)
    accepts = models.PositiveSmallIntegerField(_("members that are enough"), default=0)
    without = models.JSONField(_("roles done without"), default=list, blank=True)
    why = models.CharField(_("reason"), max_length=500)
    counter_measure = models.CharField(_("counter-measure"), max_length=500, blank=True)
    granted_by = models.CharField(_("granted by"), max_length=150)
    spoken = models.BooleanField(_("granted by telephone"), default=False)
    granted_user = models.PositiveIntegerField(null=True, blank=True, editable=False)
    countersign_by = models.DateTimeField(_("to be countersigned by"), null=True, blank=True)
    countersigned_at = models.DateTimeField(null=True, blank=True, editable=False)
    countersigned_by = models.CharField(max_length=150, blank=True, editable=False)
    shown = models.TextField(_("what was shown when it was granted"), blank=True, editable=False)
    ended_early_at = models.DateTimeField(null=True, blank=True, editable=False)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(ends_at__gt=F("starts_at")), name="waiver_ends_after_start")]
        indexes = [models.Index(fields=["chamber", "ends_at"], condition=Q(retired_at=None), name="waiver_in_force")]

    def __str__(self) -> str:
        return f"{self.need or _('crew')}: {self.why}"
