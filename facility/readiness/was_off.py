"""One line on the Now page for a day after the box was off: from when to when, as its event tells it."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any, Final

from django.db.models import Subquery
from django.utils.translation import gettext as _

from facility.compute.instants import instant_of
from facility.gathered import branch, newest
from facility.jobs.absence import WAS_OFF
from facility.models import Event, Site
from facility.readiness.words import when

if TYPE_CHECKING:
    from django.db.models import QuerySet

    from facility.gathered import Rows

OFF: Final = "was off"
TOLD_FOR: Final = timedelta(days=1)
LOOKED_AT: Final = 5000
"""So many of the newest events are looked through, so that the page is as quick after years as on the first day."""


def branch_of(site: Site) -> QuerySet[Any]:
    """Return the newest event of the box having been off, for ``gathered.fetch``."""
    last = Subquery(Event.objects.order_by("-seq").values("seq")[:1])
    found = Event.objects.filter(site_id_text="", action=WAS_OFF, seq__gt=last - LOOKED_AT)
    return branch(OFF, Site.objects.filter(pk=site.pk), newest(found.order_by("-seq"), "payload"))


def line_of(rows: Rows, at: datetime, zone: str) -> str:
    """Return the line, empty when the box was not off within a day. An end that lies ahead is of a clock set back."""
    payload = next((row[0][0] for row in rows[OFF] if row[0] is not None), None)
    if payload is None:
        return ""
    told = json.loads(payload)["after"]
    begin, end = (datetime.fromisoformat(told[name]).astimezone(UTC) for name in ("from", "to"))
    if not timedelta(0) <= at - end <= TOLD_FOR:
        return ""
    said = {"from": when(instant_of(begin), zone), "to": when(instant_of(end), zone)}
    if told.get("recorded_meanwhile") == "yes":
        return _("The job runner was off from %(from)s to %(to)s: no notices and no backups meanwhile.") % said
    return _("The box was off from %(from)s to %(to)s: no notices and no backups meanwhile.") % said
