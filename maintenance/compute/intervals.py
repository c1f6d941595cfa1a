"""When an act falls due again, as a civil date.

A date that the month does not have becomes its last valid day; the anchor's own day
is kept (31 January, 29 February, 31 March), so dates are reckoned from the anchor,
never from each other. RFC 5545 would skip the month instead: not what upkeep means.
"""

from __future__ import annotations

import calendar
from datetime import date, timedelta


class IntervalError(ValueError):
    """An interval that never falls due."""


def add_months(anchor: date, months: int) -> date:
    """Return the date ``months`` calendar months after ``anchor``, on its last valid day.

    >>> add_months(date(2024, 1, 31), 1), add_months(date(2024, 1, 31), 2)
    (datetime.date(2024, 2, 29), datetime.date(2024, 3, 31))
    """
    index = anchor.year * 12 + anchor.month - 1 + months
    year, month = divmod(index, 12)
    last = calendar.monthrange(year, month + 1)[1]
    return date(year, month + 1, min(anchor.day, last))


def next_due(done_on: date, *, months: int, days: int) -> date:
    """Return the last good day of an act done on ``done_on``: months first, then days.

    Errors: IntervalError if both are 0 or one is negative.
    """
    if months < 0 or days < 0 or (months == 0 and days == 0):
        raise IntervalError(f"An interval of {months} months and {days} days never falls due. Give months or days.")
    return add_months(done_on, months) + timedelta(days=days)
