"""Which records were owed by the day or the week and are not there. Pure: days in, spans out."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Mapping

DAY = timedelta(days=1)


class Mark(StrEnum):
    """What a calendar shows of one day, the worst first."""

    GAP = "gap"
    OUTSIDE = "outside"
    LATE = "late"
    PAPER = "paper"
    SIGNED = "signed"
    CLOSED = "closed"
    NOT_OWED = "not owed"


@dataclass(frozen=True, slots=True)
class Span:
    """Days from and to, both within."""

    first: date
    last: date

    @property
    def days(self) -> int:
        """How many days it has."""
        return (self.last - self.first).days + 1


def days_between(first: date, last: date) -> list[date]:
    """Return every day, both ends within."""
    return [first + DAY * number for number in range((last - first).days + 1)]


def marks(
    days: Iterable[date], told: Mapping[date, Mark], closed: Collection[date], owed_from: date, owed_to: date
) -> dict[date, Mark]:
    """Return the mark of each day.

    ``told``: of days with a record. A day is owed one from ``owed_from`` to ``owed_to``, unless it was closed;
    a record on a closed day counts.

    >>> d = date(2026, 3, 1)
    >>> [str(one) for one in marks([d, d + DAY], {d: Mark.SIGNED}, (), d, d + DAY).values()]
    ['signed', 'gap']
    """
    found = {}
    for day in days:
        if day in told:
            found[day] = told[day]
        elif not owed_from <= day <= owed_to:
            found[day] = Mark.NOT_OWED
        else:
            found[day] = Mark.CLOSED if day in closed else Mark.GAP
    return found


def spans(days: Iterable[date]) -> list[Span]:
    """Return days as spans of days that follow on each other.

    >>> d = date(2026, 6, 21)
    >>> [one.days for one in spans([d, d + DAY, d + 5 * DAY])]
    [2, 1]
    """
    found: list[Span] = []
    for day in sorted(days):
        if found and found[-1].last + DAY == day:
            found[-1] = Span(found[-1].first, day)
        else:
            found.append(Span(day, day))
    return found


def weeks_without(told: Collection[date], first: date, last: date, closed: Collection[date]) -> list[Span]:
    """Return whole weeks from Monday, within both days, that have no record and were not closed throughout.

    >>> [str(one.first) for one in weeks_without([date(2026, 3, 4)], date(2026, 3, 2), date(2026, 3, 15), ())]
    ['2026-03-09']
    """
    monday = first + DAY * (-first.weekday() % 7)
    found = []
    while monday + 6 * DAY <= last:
        week = days_between(monday, monday + 6 * DAY)
        if not set(week) & set(told) and not set(week) <= set(closed):
            found.append(Span(week[0], week[-1]))
        monday += 7 * DAY
    return found
