"""Signed heads of the log, the keys that signed, packs, and the sealed volumes that packs reuse."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from facility.models.base import Kept
from facility.models.site import Chamber, Site


class KeyUse(models.TextChoices):
    """What a key signs."""

    LOG = "log", _("the log's heads and packs (Ed25519)")
    SEAL = "seal", _("papers (P-256)")


class SigningKey(Kept):
    """The public half of a key of this box. The private half lies in the data folder, never here.

    ``passed_on``: for a rotated key, the text that old and new key both signed, and both signatures (JSON).
    """

    use = models.CharField(_("signs"), max_length=5, choices=KeyUse.choices)
    public = models.TextField(_("public key"), help_text=_("PEM; of a sealing key its certificate."))
    fingerprint = models.CharField(_("fingerprint"), max_length=64, unique=True)
    in_use_from = models.DateTimeField(_("in use from"))
    in_use_until = models.DateTimeField(_("in use until"), null=True, blank=True)
    passed_on = models.TextField(blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["use"], condition=Q(in_use_until=None), name="one_key_in_use")]
        ordering = ["in_use_from"]

    def __str__(self) -> str:
        return f"{self.use} {self.fingerprint[:16]}"


class Checkpoint(models.Model):
    """A signed head of the log (C2SP signed note): size, root of the RFC 6962 tree, the note's exact text."""

    size = models.PositiveBigIntegerField()
    root = models.BinaryField(max_length=32)
    note = models.TextField()
    made_at = models.DateTimeField()
    why = models.CharField(max_length=60)
    copied = models.JSONField(_("copies outside"), default=list)

    class Meta:
        ordering = ["size", "id"]

    def __str__(self) -> str:
        return f"{self.size}"


class PackState(models.TextChoices):
    """Where a pack stands."""

    ASKED = "asked", _("being built")
    BUILT = "built", _("built")
    FAILED = "failed", _("could not be built")


class Pack(Kept):
    """One pack that was asked for: for whom, on what ground, over which days, and the file it became."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="packs", verbose_name=_("site"))
    chamber = models.ForeignKey(
        Chamber, models.PROTECT, null=True, blank=True, related_name="packs", verbose_name=_("chamber"),
        help_text=_("Empty: the whole site."),
    )  # fmt: skip
    number = models.PositiveIntegerField(_("number"), editable=False)
    from_day = models.DateField(_("from"))
    to_day = models.DateField(_("to"))
    scope = models.CharField(_("scope"), max_length=60, default="whole")
    recipient = models.CharField(_("recipient"), max_length=200)
    ground = models.CharField(_("legal ground"), max_length=300)
    paper = models.CharField(_("paper"), max_length=6, default="A4")
    released = models.JSONField(_("released one by one"), default=list, blank=True)
    state = models.CharField(_("state"), max_length=6, choices=PackState.choices, default=PackState.ASKED)
    error = models.TextField(blank=True)
    file = models.CharField(max_length=200, blank=True)
    sha256 = models.CharField(max_length=64, blank=True)
    size_bytes = models.PositiveBigIntegerField(null=True, blank=True)
    log_size = models.PositiveBigIntegerField(null=True, blank=True)
    built_at = models.DateTimeField(null=True, blank=True)
    job = models.PositiveBigIntegerField(null=True, blank=True)
    asked_by = models.CharField(max_length=150, blank=True, editable=False)
    pseudonyms = models.JSONField(
        default=dict, blank=True, help_text="run person or patient id to its name in this pack"
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["site", "number"], name="pack_number_once_per_site"),
            models.CheckConstraint(condition=Q(to_day__gte=F("from_day")), name="pack_ends_after_start"),
        ]
        ordering = ["-id"]

    def __str__(self) -> str:
        return f"{self.site} {self.number}"


class Volume(models.Model):
    """One rendered and sealed part of reports, found again by the digest of all that went into it."""

    inputs_sha256 = models.CharField(max_length=64, unique=True)
    site = models.ForeignKey(Site, models.PROTECT, related_name="volumes")
    name = models.CharField(max_length=80)
    month = models.CharField(max_length=7, blank=True)
    file_sha256 = models.CharField(max_length=64)
    pages = models.PositiveIntegerField()
    size_bytes = models.PositiveBigIntegerField()
    sealed_at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(fields=["site", "name", "month"], name="volume_of_month")]

    def __str__(self) -> str:
        return f"{self.name} {self.month}"
