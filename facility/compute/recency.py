"""When somebody last practised something, and until when that counts."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date


@dataclass(frozen=True, slots=True)
class Practised:
    """One person in one kind of drill. ``last_on`` None: never; ``good_through`` is the last good day."""

    last_on: date | None
    good_through: date | None
    times: int

    def in_date(self, today: date) -> bool:
        """Return whether it counts on ``today``. Never done is never good."""
        return self.good_through is not None and today <= self.good_through


def practised(days: Iterable[date], every_days: int) -> Practised:
    """Return the state of one person from the days of the drills they took part in.

    Errors: ValueError for an interval below one day.

    >>> from datetime import date
    >>> practised([date(2026, 3, 1), date(2026, 1, 1)], 30).good_through
    datetime.date(2026, 3, 31)
    """
    if every_days < 1:
        raise ValueError(f"every_days is {every_days}; a drill comes again after 1 day or more.")
    found = sorted(days)
    if not found:
        return Practised(None, None, 0)
    return Practised(found[-1], found[-1] + timedelta(days=every_days), len(found))
