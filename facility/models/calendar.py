"""Secret addresses of calendars, and when a chamber will be shut on purpose."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from facility.models.base import Entry, Kept
from facility.models.people import User
from facility.models.site import Chamber, Site


class FeedSort(models.TextChoices):
    """Whose days a calendar shows."""

    MINE = "mine", _("my own days")
    SITE = "site", _("everything due at the site")
    SHUT = "shut", _("planned shut-downs")


class CalendarFeed(Kept):
    """One secret address; only the digest of the secret is kept. Revoked by retiring the row."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="feeds", verbose_name=_("site"))
    user = models.ForeignKey(User, models.PROTECT, related_name="feeds", verbose_name=_("account"))
    sort = models.CharField(_("shows"), max_length=5, choices=FeedSort.choices)
    secret_sha256 = models.CharField(max_length=64, unique=True, editable=False)
    read_at = models.DateTimeField(_("last read"), null=True, editable=False)

    def __str__(self) -> str:
        return f"{self.get_sort_display()}: {self.user}"


class ShutDown(Entry):
    """A span in which a chamber is shut on purpose: no table can start in it, nor run into it."""

    chamber = models.ForeignKey(Chamber, models.PROTECT, related_name="shut_downs", verbose_name=_("chamber"))
    starts_at = models.DateTimeField(_("from"))
    ends_at = models.DateTimeField(_("until"))
    why = models.CharField(_("reason"), max_length=300)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(ends_at__gt=F("starts_at")), name="shut_down_ends_after_start")
        ]
        ordering = ["starts_at"]

    def __str__(self) -> str:
        return f"{self.chamber}: {self.why}"
