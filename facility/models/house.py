"""House rules: the limits, ages and margins that a site has set, each version with who approved it."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from facility.models.base import Entry
from facility.models.site import Site


class HouseRule(Entry):
    """One version of one rule. Which keys exist, with unit and default, is in reference/house_rules.toml."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="house_rules", verbose_name=_("site"))
    key = models.CharField(_("rule"), max_length=60)
    value = models.DecimalField(_("value"), max_digits=14, decimal_places=4)
    version = models.PositiveIntegerField(_("version"), default=1, editable=False)
    approved_by = models.CharField(_("approved by"), max_length=150)
    in_force_from = models.DateTimeField(_("in force from"))
    note = models.CharField(_("note"), max_length=500, blank=True)

    SHOWN = ("key", "value", "approved_by", "in_force_from", "note")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["site", "key", "version"], name="house_rule_version_once"),
            models.UniqueConstraint(
                fields=["site", "key"], condition=Q(retired_at=None), name="one_house_rule_in_force"
            ),
        ]
        ordering = ["key", "-version"]

    def __str__(self) -> str:
        return f"{self.key} v{self.version}"
