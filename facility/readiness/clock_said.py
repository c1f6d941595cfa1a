"""One line on each page while words may rest on somebody having said that the clock is right again."""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any, Final

from django.db.models import Subquery
from django.utils.translation import gettext as _

from facility import events
from facility.compute.instants import instant_of
from facility.gathered import newest
from facility.models import Event
from facility.readiness.words import when

if TYPE_CHECKING:
    from facility.gathered import AsJson

TOLD_FOR: Final = timedelta(days=1)
"""At least so long, and always until the times that were ahead have come. A design choice, no source."""
LOOKED_AT: Final = 5000
"""So many of the newest events are looked through, so that pages are as quick after years as on the first day."""


def column() -> AsJson:
    """Return the newest event of the clock being right again, as a column for ``gathered.fetch``."""
    last = Subquery(Event.objects.order_by("-seq").values("seq")[:1])
    found = Event.objects.filter(site_id_text="", action=events.CLOCK_RIGHT, seq__gt=last - LOOKED_AT)
    return newest(found.order_by("-seq"), "payload")


def line_of(cell: Any, at: datetime, zone: str) -> str:
    """Return the line, empty when nobody said so or the times that were ahead have come."""
    if cell is None:
        return ""
    told = json.loads(cell[0])
    said_at = datetime.fromisoformat(told["recorded_at"])
    until = datetime.fromisoformat(told["after"]["ahead_until"])
    if at >= max(until, said_at + TOLD_FOR):
        return ""
    return _(
        "On %(when)s %(who)s said that the clock is right again (“%(why)s”): records of before that may carry times up to %(until)s."
    ) % {
        "when": when(instant_of(said_at), zone), "who": told["actor"], "why": told["reason"],
        "until": when(instant_of(until), zone),
    }  # fmt: skip
