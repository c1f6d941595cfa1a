"""When an act falls due again, as a civil date.

A date that the month does not have becomes its last valid day; the anchor's own day
is kept (31 January, 29 February, 31 March), so dates are reckoned from the anchor,
never from each other. RFC 5545 would skip the month instead: not what upkeep means.
"""

from __future__ import annotations

import calendar
from dataclasses import dataclass
from datetime import date, timedelta


class IntervalError(ValueError):
    """An interval that never falls due."""


class CalendarError(IntervalError):
    """A date beyond the years 1 to 9999."""


@dataclass(frozen=True, slots=True)
class Span:
    """A length of calendar time: months first, then days."""

    months: int = 0
    days: int = 0

    def __bool__(self) -> bool:
        """Whether it is any time at all."""
        return self.months != 0 or self.days != 0

    def after(self, anchor: date, day: int | None = None) -> date:
        """Return the date this long after ``anchor``; ``day`` is the day of the month to keep."""
        return _held(add_months(anchor, self.months, day), self.days)

    def before(self, anchor: date, day: int | None = None) -> date:
        """Return the date this long before ``anchor``."""
        return _held(add_months(anchor, -self.months, day), -self.days)


def add_months(anchor: date, months: int, day: int | None = None) -> date:
    """Return the date ``months`` calendar months after ``anchor``, on its last valid day.

    ``day`` is the day of the month to keep, where it is not the anchor's own: an anchor
    of the 31st stays one over a short month.
    Errors: CalendarError beyond the years 1 to 9999.

    >>> add_months(date(2024, 1, 31), 1), add_months(date(2024, 1, 31), 2)
    (datetime.date(2024, 2, 29), datetime.date(2024, 3, 31))
    >>> add_months(date(2024, 2, 29), 1, day=31)
    datetime.date(2024, 3, 31)
    """
    index = anchor.year * 12 + anchor.month - 1 + months
    year, month = divmod(index, 12)
    if not 1 <= year <= date.max.year:
        raise CalendarError(
            f"{months} months from {anchor} leave the calendar of the years 1 to 9999. Check the interval."
        )
    last = calendar.monthrange(year, month + 1)[1]
    return date(year, month + 1, min(day or anchor.day, last))


def end_of_month(day: date) -> date:
    """Return the last day of the month of ``day``: when a stamp of month and year runs out."""
    return day.replace(day=calendar.monthrange(day.year, day.month)[1])


def _held(day: date, days: int) -> date:
    try:
        return day + timedelta(days=days)
    except OverflowError:
        raise CalendarError(f"{days} days from {day} leave the calendar. Check the interval.") from None


def next_due(done_on: date, *, months: int, days: int) -> date:
    """Return the last good day of an act done on ``done_on``: months first, then days.

    Errors: IntervalError if both are 0 or one is negative.
    """
    if months < 0 or days < 0 or (months == 0 and days == 0):
        raise IntervalError(f"An interval of {months} months and {days} days never falls due. Give months or days.")
    return Span(months, days).after(done_on)
