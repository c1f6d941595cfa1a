"""The rules by which an act falls due on an item, the counters they run on, and what else makes an act due."""

from __future__ import annotations

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from facility.models import Chamber, Entry, Evidence, Kept, Site
from maintenance.models.equipment import Equipment


class Standing(models.TextChoices):
    """How a number came to us."""

    RETRIEVED = "retrieved", _("read at its source")
    MEMORY = "memory", _("from memory, unconfirmed")
    SITE = "site", _("set by the site")


class CounterUnit(models.TextChoices):
    """What a counter counts."""

    CYCLES = "cycles", _("pressure cycles")
    HOURS = "hours", _("running hours")
    DAYS = "days of use", _("days of use")
    USES = "uses", _("uses")


class Counter(Kept):
    """Something that only counts up: a chamber's pressure cycles, a compressor's hours.

    What a run of ``chamber`` adds is ``per_run`` plus ``per_hour`` for each hour under pressure.
    """

    site = models.ForeignKey(Site, models.PROTECT, related_name="counters", verbose_name=_("site"))
    key = models.SlugField(_("key"), max_length=60, help_text=_("For example chamber-1-cycles."))
    name = models.CharField(_("name"), max_length=120)
    unit = models.CharField(_("counts"), max_length=12, choices=CounterUnit.choices)
    chamber = models.ForeignKey(
        Chamber, models.PROTECT, null=True, blank=True, related_name="counters",
        verbose_name=_("counts the runs of"), help_text=_("Empty: it is read from its own meter alone."),
    )  # fmt: skip
    equipment = models.ForeignKey(
        Equipment, models.PROTECT, null=True, blank=True, related_name="counters", verbose_name=_("meter on")
    )
    per_run = models.DecimalField(
        _("each run adds"), max_digits=8, decimal_places=2, default=0, validators=[MinValueValidator(0)]
    )
    per_hour = models.DecimalField(
        _("each hour of a run adds"), max_digits=8, decimal_places=2, default=0, validators=[MinValueValidator(0)]
    )

    SHOWN = ("key", "name", "unit", "chamber", "equipment", "per_run", "per_hour")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["site", "key"], name="counter_key_once_per_site")]
        ordering = ["key"]

    def __str__(self) -> str:
        return self.name


class CounterReading(Entry):
    """What a counter showed. A lower value than before needs a replacement of the meter on record."""

    counter = models.ForeignKey(Counter, models.PROTECT, related_name="readings", verbose_name=_("counter"))
    read_at = models.DateTimeField(_("read at"))
    value = models.DecimalField(_("value"), max_digits=12, decimal_places=2, validators=[MinValueValidator(0)])
    read_by = models.CharField(_("read by"), max_length=150)
    run_number = models.PositiveIntegerField(_("after run"), null=True, blank=True, editable=False)
    note = models.CharField(_("note"), max_length=300, blank=True)

    SHOWN = ("counter", "read_at", "value", "read_by", "note")

    class Meta:
        indexes = [models.Index(fields=["counter", "-read_at", "-id"], name="count_newest")]
        ordering = ["-read_at", "-id"]

    def __str__(self) -> str:
        return f"{self.counter} {self.value}"


class MeterReplacement(Entry):
    """A meter was replaced or set: the new one's values go on from the old one's last."""

    counter = models.ForeignKey(Counter, models.PROTECT, related_name="replacements", verbose_name=_("counter"))
    replaced_on = models.DateField(_("replaced on"))
    last_of_old = models.DecimalField(_("last value of the old meter"), max_digits=12, decimal_places=2)
    first_of_new = models.DecimalField(_("first value of the new meter"), max_digits=12, decimal_places=2)
    why = models.CharField(_("why"), max_length=300)
    done_by = models.CharField(_("done by"), max_length=150)
    evidence = models.ForeignKey(
        Evidence, models.PROTECT, null=True, blank=True, related_name="+", verbose_name=_("proof")
    )

    SHOWN = ("counter", "replaced_on", "last_of_old", "first_of_new", "why", "done_by")

    class Meta:
        ordering = ["-replaced_on", "-id"]

    def __str__(self) -> str:
        return f"{self.counter} {self.replaced_on}"


class Anchor(models.TextChoices):
    """From which day the next interval runs."""

    FLOATING = "floating", _("from the day it was done")
    FIXED = "fixed", _("from the day it was due")


class WindowKind(models.TextChoices):
    """How the days around a due day are given on which the act counts for it."""

    NONE = "none", _("none")
    SYMMETRIC = "symmetric", _("as long before as after")
    ASYMMETRIC = "asymmetric", _("its own time before and after")
    PERCENTAGE = "percentage", _("a percentage of the interval")
    FROM_DONE = "after the last act", _("earliest and latest after the last act")


class OverdueEffect(models.TextChoices):
    """What an overdue act does to what rests on the item."""

    STOPS = "stops", _("takes it out")
    LIMITS = "limits", _("restricts it")


class IntervalRule(Kept):
    """How often an act falls due on an item: by calendar, counter, age or event, whichever comes first.

    Due dates are civil dates in the site's zone.
    """

    equipment = models.ForeignKey(Equipment, models.PROTECT, related_name="rules", verbose_name=_("equipment"))
    name = models.CharField(_("act"), max_length=120, help_text=_("For example calibration, function test."))
    months = models.PositiveSmallIntegerField(_("every, months"), default=0)
    days = models.PositiveSmallIntegerField(_("every, days"), default=0)
    window_days = models.PositiveSmallIntegerField(
        _("late window, days"), default=0, help_text=_("Whether the window keeps the item good is a house rule.")
    )
    counts = models.BooleanField(_("counts for readiness"), default=True)
    effect = models.CharField(
        _("overdue, it"), max_length=6, choices=OverdueEffect.choices, default=OverdueEffect.STOPS
    )
    source = models.CharField(_("source"), max_length=200, blank=True, help_text=_("Code, edition and clause."))
    standing = models.CharField(_("standing"), max_length=10, choices=Standing.choices, default=Standing.SITE)
    anchor = models.CharField(_("next interval runs"), max_length=8, choices=Anchor.choices, default=Anchor.FLOATING)
    window_kind = models.CharField(_("window"), max_length=20, choices=WindowKind.choices, default=WindowKind.NONE)
    window_months = models.PositiveSmallIntegerField(_("window after, months"), default=0)
    early_days = models.PositiveSmallIntegerField(_("window before, days"), default=0)
    early_months = models.PositiveSmallIntegerField(_("window before, months"), default=0)
    window_percent = models.DecimalField(_("window, %"), max_digits=5, decimal_places=2, default=0)
    counter = models.ForeignKey(
        Counter, models.PROTECT, null=True, blank=True, related_name="rules", verbose_name=_("counter")
    )
    count_every = models.DecimalField(
        _("every, counts"), max_digits=12, decimal_places=2, null=True, blank=True, validators=[MinValueValidator(0)]
    )
    count_life = models.DecimalField(
        _("life, counts"), max_digits=12, decimal_places=2, null=True, blank=True, validators=[MinValueValidator(0)]
    )
    count_at_fitting = models.DecimalField(
        _("count when it was fitted"), max_digits=12, decimal_places=2, default=0, validators=[MinValueValidator(0)]
    )
    life_months = models.PositiveSmallIntegerField(
        _("life, months"), default=0, help_text=_("From the day it was made or put in service.")
    )
    life_begins_on = models.DateField(_("life begins"), null=True, blank=True)
    triggers = models.CharField(
        _("also due after"), max_length=300, blank=True,
        help_text=_("What happens to an item, by commas: moved, repaired, opened ..."),
    )  # fmt: skip
    defer_months = models.PositiveSmallIntegerField(
        _("each clean look puts it off by, months"), default=0, help_text=_("0: it may not be put off.")
    )
    hard_stop_months = models.PositiveSmallIntegerField(_("never later than, months"), default=0)
    requirement = models.CharField(_("adopted from rule"), max_length=20, blank=True, editable=False)
    acceptance = models.CharField(_("what passes"), max_length=500, blank=True)
    who_may = models.CharField(_("who may do it"), max_length=200, blank=True)
    evidence_asked = models.CharField(_("evidence it demands"), max_length=300, blank=True)
    house_reason = models.CharField(_("why the house differs from the rule"), max_length=500, blank=True)
    approved_by = models.CharField(_("approved by"), max_length=150, blank=True)
    price = models.DecimalField(
        _("price of the act"), max_digits=12, decimal_places=2, null=True, blank=True,
        validators=[MinValueValidator(0)], help_text=_("Expected; what was paid is kept with each record of work."),
    )  # fmt: skip
    currency = models.CharField(_("currency"), max_length=3, blank=True, help_text=_("Three letters, ISO 4217."))

    SHOWN = ("equipment", "name", "months", "days", "window_days", "counts", "source", "standing")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["equipment", "name"], condition=Q(retired_at=None), name="one_rule_per_act"
            ),
            models.CheckConstraint(
                condition=(
                    Q(months__gt=0) | Q(days__gt=0) | Q(count_every__isnull=False, count_every__gt=0) | Q(count_life__isnull=False, count_life__gt=0)
                    | Q(life_months__gt=0) | ~Q(triggers="")
                ),
                name="rule_falls_due_somehow",
                violation_error_message=_("Give months, days, counts, a life or an event: an interval of nothing never falls due."),
            ),
            models.CheckConstraint(
                condition=Q(counter__isnull=False) | Q(count_every=None, count_life=None),
                name="counts_need_a_counter",
                violation_error_message=_("Name the counter that these counts are read from."),
            ),
            models.CheckConstraint(
                condition=Q(defer_months=0) | Q(hard_stop_months__gt=0),
                name="deferral_has_a_hard_stop",
                violation_error_message=_("An act that may be put off needs a hard stop."),
            ),
        ]  # fmt: skip
        ordering = ["equipment_id", "name"]

    def __str__(self) -> str:
        return f"{self.equipment.tag}: {self.name}"

    @property
    def months_told(self) -> str:
        """What pages write for no months: a dash, since nothing falls due every 0 months. Empty: the number itself."""
        return "" if self.months else "\u2013"

    @property
    def days_told(self) -> str:
        """The same for days."""
        return "" if self.days else "\u2013"


class HappeningKind(models.TextChoices):
    """What may happen to an item that makes an act due, in the words of the codes."""

    INSTALLED = "installed", _("installed")
    MOVED = "moved", _("moved")
    REPAIRED = "repaired", _("repaired")
    ALTERED = "altered", _("altered")
    OVERHAULED = "overhauled", _("overhauled")
    OPENED = "opened", _("opened")
    PART_REPLACED = "part replaced", _("part replaced")
    CONTAMINATION = "suspected contamination", _("contamination suspected")
    GAUGES_DISAGREE = "two gauges disagree", _("two gauges disagree")
    CLOCKS_DISAGREE = "two clocks disagree", _("two clocks disagree")
    KIT_OPENED = "kit opened", _("kit opened")
    DROPPED = "dropped", _("dropped or knocked")


class Happening(Entry):
    """Something happened to an item that may make an act due."""

    equipment = models.ForeignKey(Equipment, models.PROTECT, related_name="happenings", verbose_name=_("equipment"))
    kind = models.CharField(_("what happened"), max_length=24, choices=HappeningKind.choices)
    happened_on = models.DateField(_("on"))
    note = models.CharField(_("note"), max_length=500, blank=True)
    reported_by = models.CharField(_("reported by"), max_length=150)

    SHOWN = ("equipment", "kind", "happened_on", "note", "reported_by")

    class Meta:
        indexes = [models.Index(fields=["equipment", "kind", "-happened_on"], name="happening_newest")]
        ordering = ["-happened_on", "-id"]

    def __str__(self) -> str:
        return f"{self.equipment.tag} {self.get_kind_display()}"


class Deferral(Entry):
    """A look that lets an act be put off, as its rule allows. Never past the hard stop."""

    rule = models.ForeignKey(IntervalRule, models.PROTECT, related_name="deferrals", verbose_name=_("act"))
    looked_on = models.DateField(_("looked at on"))
    no_damage = models.BooleanField(_("no corrosion or damage was found"))
    looked_by = models.CharField(_("looked at by"), max_length=150)
    approved_by = models.CharField(_("put off by"), max_length=150)
    why = models.CharField(_("why"), max_length=500)
    evidence = models.ForeignKey(
        Evidence, models.PROTECT, null=True, blank=True, related_name="+", verbose_name=_("report")
    )

    SHOWN = ("rule", "looked_on", "no_damage", "looked_by", "approved_by", "why")

    class Meta:
        ordering = ["-looked_on", "-id"]

    def __str__(self) -> str:
        return f"{self.rule} {self.looked_on}"
