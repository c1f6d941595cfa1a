"""What somebody has beside the password: a code generator, a passkey, codes on paper for the day both are lost."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from facility.models.base import Kept
from facility.models.people import User


class FactorSort(models.TextChoices):
    """What proves it."""

    CODES = "totp", _("code generator")
    PASSKEY = "passkey", _("passkey")
    PAPER = "paper", _("codes on paper")


class SecondFactor(Kept):
    """One second proof of an account. ``data`` is sealed: it never enters an event or a page."""

    user = models.ForeignKey(User, models.PROTECT, related_name="second_factors", verbose_name=_("account"))
    sort = models.CharField(_("sort"), max_length=8, choices=FactorSort.choices)
    name = models.CharField(_("name"), max_length=80, blank=True)
    data = models.TextField(editable=False)
    used_at = models.DateTimeField(_("last used"), null=True, blank=True, editable=False)
    last_counter = models.BigIntegerField(default=0, editable=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["user", "sort"], condition=Q(retired_at=None) & ~Q(sort="passkey"), name="one_factor_of_a_sort"
            )
        ]
        ordering = ["id"]

    def __str__(self) -> str:
        return self.name or self.get_sort_display()
