"""What the daily look found, one row for each flag raised. The event tells of it; the row keeps it from being told twice."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from facility.compute.flags import FlagState, Sort
from facility.models.site import Site


class Flag(models.Model):
    """A state of one thing from the day it was found until the day it was over. Pages reckon states anew."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="flags", verbose_name=_("site"))
    thing = models.CharField(_("thing"), max_length=200)
    sort = models.CharField(_("sort"), max_length=20, choices=[(str(one), str(one)) for one in Sort])
    state = models.CharField(_("state"), max_length=20, choices=[(str(one), str(one)) for one in FlagState])
    last_good = models.DateField(_("good through"), null=True)
    raised_on = models.DateField(_("raised on"), help_text=_("Civil day at the site."))
    raised_at = models.DateTimeField(_("raised at"))
    over_at = models.DateTimeField(_("over at"), null=True)
    event_seq = models.PositiveBigIntegerField(_("event"))

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["site", "thing", "state", "raised_on"], name="flag_once_per_thing_and_day"),
        ]
        indexes = [models.Index(fields=["site"], condition=Q(over_at=None), name="flag_standing")]

    def __str__(self) -> str:
        return f"{self.thing}: {self.state}"
