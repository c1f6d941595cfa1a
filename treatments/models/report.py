"""Near misses, which nobody can delete, and frozen records around an event."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from facility.models import Entry, Evidence, Site
from treatments.models.run import Run


class NearMiss(Entry):
    """Something that could have hurt somebody. Its name may stay empty; it stays for good."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="near_misses", verbose_name=_("site"))
    number = models.PositiveIntegerField(_("number"), editable=False, default=0)
    what = models.TextField(_("what happened"), max_length=2000)
    where = models.CharField(_("where"), max_length=200, blank=True)
    could_have = models.TextField(_("what could have been"), max_length=2000, blank=True)
    happened_on = models.DateField(_("on"), null=True, blank=True)
    reporter = models.CharField(_("your name (optional)"), max_length=150, blank=True)
    run = models.ForeignKey(Run, models.PROTECT, null=True, blank=True, related_name="near_misses", editable=False)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["site", "number"], name="near_miss_number_once")]
        ordering = ["-number"]

    def __str__(self) -> str:
        return f"{_('near miss')} {self.number}"


class NearMissAction(Entry):
    """What was done about a near miss. The last one may close it; none can take it away."""

    near_miss = models.ForeignKey(NearMiss, models.PROTECT, related_name="actions", verbose_name=_("near miss"))
    what = models.CharField(_("what is done about it"), max_length=500)
    by_whom = models.CharField(_("by whom"), max_length=150)
    due_on = models.DateField(_("until"), null=True, blank=True)
    closes = models.BooleanField(_("this closes it"), default=False)

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return self.what


class Freeze(Entry):
    """Every record around an event, kept and signed in one act.

    ``manifest`` names each record with its digest and the range of the log; the file behind ``evidence`` holds the
    records themselves. ``signature`` is Ed25519 over ``digest`` by the key of this box.
    """

    site = models.ForeignKey(Site, models.PROTECT, related_name="freezes", verbose_name=_("site"))
    event_at = models.DateTimeField(_("time of the event"))
    starts_at = models.DateTimeField(_("from"))
    ends_at = models.DateTimeField(_("until"))
    why = models.CharField(_("what happened"), max_length=500)
    run = models.ForeignKey(Run, models.PROTECT, null=True, blank=True, related_name="freezes", verbose_name=_("run"))
    signed_by = models.CharField(_("signed by"), max_length=150)
    manifest = models.JSONField(default=dict, editable=False)
    evidence = models.ForeignKey(Evidence, models.PROTECT, null=True, blank=True, related_name="+", editable=False)
    digest = models.CharField(max_length=64, editable=False)
    signature = models.CharField(max_length=200, editable=False)
    key_fingerprint = models.CharField(max_length=64, editable=False)

    class Meta:
        ordering = ["-event_at", "-id"]

    def __str__(self) -> str:
        return f"{self.event_at:%Y-%m-%d %H:%M} {self.why}"
