"""What the files of the demo set tell, and how its days become the days of one loading."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from facility.models import Site


@dataclass(frozen=True, slots=True)
class Days:
    """By how much the set is moved, and the zone of its site."""

    shift: timedelta
    zone: ZoneInfo

    def day(self, own: date) -> date:
        """Return a day of the set as a day of this loading."""
        return own + self.shift

    def at(self, own: datetime) -> datetime:
        """Return a local time of the set as an instant of this loading."""
        return (own + self.shift).replace(tzinfo=self.zone).astimezone(UTC)


@dataclass(frozen=True, slots=True)
class Told:
    """What one file says of the site."""

    content: dict[str, Any]
    site: Site
    days: Days

    def day(self, own: date) -> date:
        """Return a day of the set as a day of this loading."""
        return self.days.day(own)

    def at(self, own: datetime) -> datetime:
        """Return a local time of the set as an instant of this loading."""
        return self.days.at(own)
