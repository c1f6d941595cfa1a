"""What waits to leave the box, for the pages and for whoever watches the box from outside."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db.models import Count, Min

from facility.models import Delivery

if TYPE_CHECKING:
    from datetime import datetime


def unsent(at: datetime) -> tuple[int, float]:
    """Return how many deliveries wait, and the age in seconds of the oldest notice among them; 0 if none waits.

    A clock that was set back makes no age negative.
    """
    rows = Delivery.objects.filter(sent_at=None, given_up_at=None)
    found = rows.aggregate(count=Count("pk"), oldest=Min("notice__made_at"))
    oldest = found["oldest"]
    return found["count"], max(0.0, (at - oldest).total_seconds()) if oldest else 0.0
