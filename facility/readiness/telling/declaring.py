"""Declaring to be fit or not fit for pressure, for the rest of a day. Never why: that is a physician's matter."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from facility import events, house, services
from facility.compute.instants import datetime_of, end_of_local_day
from facility.models import FitDeclared

if TYPE_CHECKING:
    from facility.events import Actor
    from facility.models import Person


def until_of(at: datetime, zone: str, least_hours: int) -> datetime:
    """Return until when a declaration of ``at`` counts: the end of the day there, and at least so many hours."""
    end = datetime_of(end_of_local_day(at.astimezone(ZoneInfo(zone)).date(), 0, zone))
    return max(end, at + timedelta(hours=least_hours))


def declare(person: Person, *, fit: bool, by: Actor) -> FitDeclared:
    """Store what somebody says of being fit. The newest declaration counts; the earlier ones stay readable."""
    at = events.now()
    until = until_of(at, person.site.zone, int(house.values(person.site)["declared_at_least_hours"]))
    row = FitDeclared(person=person, declared_at=at, until=until, fit=fit, occurred_at=at)
    return services.add(row, by=by, action="declared fit" if fit else "declared not fit")


def newest(person: Person) -> FitDeclared | None:
    """Return a person's newest declaration, over or not."""
    return FitDeclared.objects.filter(person=person, retired_at=None).order_by("-declared_at", "-id").first()
