"""Treatment tables as a site uses them: confirmations of shipped ones, and its own in versions."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from facility.models import Entry, Site


class TableConfirmation(Entry):
    """A named person compared a table with their own printed handbook. Two different people confirm it.

    ``digest`` is that of the table's values as compared: another release of the table starts anew.
    """

    site = models.ForeignKey(Site, models.PROTECT, related_name="table_confirmations", verbose_name=_("site"))
    table = models.CharField(_("table"), max_length=60)
    digest = models.CharField(max_length=64, editable=False)
    handbook = models.CharField(
        _("handbook, edition, page"), max_length=200, help_text=_("Of the printed copy that lay beside it.")
    )
    compared_by = models.CharField(_("compared by"), max_length=150)
    compared_user = models.PositiveIntegerField(null=True, blank=True, editable=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["site", "table", "digest", "compared_by"], condition=Q(retired_at=None),
                name="table_confirmed_once_by_each",
                violation_error_message=_("You confirmed this table already. Another person must compare it too."),
            ),
        ]  # fmt: skip
        ordering = ["id"]

    def __str__(self) -> str:
        return f"{self.table}: {self.compared_by}"


class SiteTable(Entry):
    """One version of a site's own table. Proposed by one person, in force once another approved it.

    ``parts`` as read_table() takes it. What is in force is never edited: a new version takes its place.
    """

    site = models.ForeignKey(Site, models.PROTECT, related_name="tables", verbose_name=_("site"))
    key = models.SlugField(_("key"), max_length=60)
    version = models.PositiveIntegerField(_("version"), default=1, editable=False)
    parts = models.JSONField(_("table"))
    source = models.CharField(_("source"), max_length=300, help_text=_("Book, edition, page; or who decided it."))
    proposed_by = models.CharField(_("proposed by"), max_length=150)
    proposed_user = models.PositiveIntegerField(null=True, blank=True, editable=False)
    approved_by = models.CharField(_("approved by"), max_length=150, blank=True, editable=False)
    approved_user = models.PositiveIntegerField(null=True, blank=True, editable=False)
    approved_at = models.DateTimeField(_("approved at"), null=True, blank=True, editable=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["site", "key", "version"], name="table_version_once"),
            models.UniqueConstraint(
                fields=["site", "key"], condition=Q(retired_at=None, approved_at__isnull=False),
                name="one_table_version_in_force",
            ),
        ]  # fmt: skip
        ordering = ["key", "-version"]

    def __str__(self) -> str:
        return f"{self.key} {self.version}"
