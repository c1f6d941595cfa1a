"""Files that prove something: photos and scans, stored by digest and never altered."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from facility.models.base import Kept
from facility.models.site import Site


class Evidence(Kept):
    """One file, found again by its SHA-256 digest; the original stays as it came."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="evidence", verbose_name=_("site"))
    sha256 = models.CharField(max_length=64)
    media_type = models.CharField(max_length=40)
    size_bytes = models.PositiveBigIntegerField()
    original_name = models.CharField(_("name"), max_length=200)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["site", "sha256"], name="evidence_once_per_site")]

    def __str__(self) -> str:
        return self.original_name
