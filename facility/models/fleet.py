"""What the organisation's page shows of each chamber: an answer as it was known at an instant, and what was told of it."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from facility.models.site import Chamber


class FleetState(models.Model):
    """One chamber's answer at an instant, kept for pages over many chambers. Never shown as good when it is old.

    ``plans`` is a list of objects: plan, name, party, state, holds_until, need, called (the need's name), lift.
    ``known_seq`` is the number of the newest event that the answer had seen; a later event of the site makes it old.
    """

    chamber = models.OneToOneField(Chamber, models.PROTECT, related_name="fleet_state", verbose_name=_("chamber"))
    known_at = models.DateTimeField(_("as known at"))
    known_seq = models.PositiveBigIntegerField(_("event"))
    state = models.CharField(_("state"), max_length=24)
    holds_until = models.DateTimeField(_("holds until"), null=True)
    plans = models.JSONField(default=list)
    lapses_on = models.DateField(_("next good day ends"), null=True)
    lapses_what = models.CharField(_("what lapses next"), max_length=200, blank=True)
    overdue = models.PositiveIntegerField(_("overdue"), default=0)
    in_use_by = models.CharField(_("run under way"), max_length=40, blank=True)

    def __str__(self) -> str:
        return f"{self.chamber_id}: {self.state}"


class Told(models.Model):
    """The state of each plan of a chamber that people were last told; the first look stores it and tells nobody.

    ``states`` maps a plan to its state; ``ahead`` lists the keys of what was told to come within the lead time.
    """

    chamber = models.OneToOneField(Chamber, models.PROTECT, related_name="told", verbose_name=_("chamber"))
    states = models.JSONField(default=dict)
    ahead = models.JSONField(default=list)
    told_at = models.DateTimeField(_("told at"))

    def __str__(self) -> str:
        return f"{self.chamber_id}: {self.told_at}"
