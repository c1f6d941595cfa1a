"""When gas has to be ordered: the day it runs out, the days on which the supplier comes, the time it takes.

Fractions of a day are cut off, never rounded up. Weekdays as ISO 8601 numbers them: 1 Monday to 7 Sunday.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from math import isfinite
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence
    from datetime import date, datetime

WEEK = range(1, 8)
FURTHEST_DAYS = 3650


class SupplyError(ValueError):
    """A supply that cannot be reckoned with."""


@dataclass(frozen=True, slots=True)
class OrderBy:
    """``order_on``: last day to order so that it comes on ``arrives_on``, a delivery day not after ``runs_out_on``.

    ``next_arrival_on``: when it comes if ordered today. ``late_days``: days by which ``order_on`` has passed.
    ``without_days``: days between running out and that next arrival, 0 if it comes in time.
    """

    runs_out_on: date
    arrives_on: date
    order_on: date
    next_arrival_on: date
    late_days: int
    without_days: int


def runs_out_on(today: date, content: float, kept: float, per_day: float) -> date | None:
    """Return the last day with more than ``kept``; None if nothing is drawn or it lies over ten years ahead.

    Units: litres, litres, litres a day. Errors: SupplyError for a figure that is none.
    """
    if not all(isfinite(one) for one in (content, kept, per_day)):
        raise SupplyError("Content, what is kept back and use a day must be numbers.")
    if content <= kept:
        return today
    if per_day <= 0 or (content - kept) / per_day > FURTHEST_DAYS:
        return None
    return today + timedelta(days=int((content - kept) / per_day))


def order_by(today: date, runs_out: date, lead_days: int, weekdays: Collection[int] = ()) -> OrderBy:
    """Return when to order. ``weekdays``: days on which the supplier delivers; none named: any day.

    Errors: SupplyError naming a lead time below 0 or a weekday that is none.
    """
    days = _weekdays(weekdays)
    if lead_days < 0:
        raise SupplyError(f"{lead_days} days from order to delivery: 0 or more is allowed.")
    arrives = next(day for day in _walk(runs_out, -1) if day.isoweekday() in days)
    order_on = arrives - timedelta(days=lead_days)
    following = next(day for day in _walk(today + timedelta(days=lead_days), 1) if day.isoweekday() in days)
    return OrderBy(
        runs_out_on=runs_out,
        arrives_on=arrives,
        order_on=order_on,
        next_arrival_on=following,
        late_days=max(0, (today - order_on).days),
        without_days=max(0, (following - runs_out).days),
    )


def runs_left(content: int, demand: int, reserve: int) -> int:
    """Return how many runs of ``demand`` can be begun one after the other, the reserve kept back at each start.

    Units: litres. Errors: SupplyError if the demand is not more than 0.

    >>> runs_left(100_000, 30_000, 20_000)
    2
    """
    if demand <= 0:
        raise SupplyError(f"A demand of {demand} L: more than 0 is needed to count runs.")
    return max(0, (content - reserve) // demand)


@dataclass(frozen=True, slots=True)
class Use:
    """What was drawn and what came in over a time [litres, days], and how much a day."""

    drawn: float
    added: float
    days: float
    per_day: float


def use_of(points: Sequence[tuple[datetime, float]], noise: float) -> Use | None:
    """Return the use between the first and the last reading; None with less than two, or less than a day apart.

    ``points``: instant and content [L], in order of time. A change up to ``noise`` [L] is not counted until it adds
    up to more: it is within what gauge and thermometer can tell.
    """
    if len(points) < 2:  # noqa: PLR2004  # a difference needs two
        return None
    days = (points[-1][0] - points[0][0]) / timedelta(days=1)
    if days < 1:
        return None
    level, drawn, added = points[0][1], 0.0, 0.0
    for _at, content in points[1:]:
        change = content - level
        if abs(change) <= noise:
            continue
        drawn, added, level = drawn + max(0.0, -change), added + max(0.0, change), content
    return Use(drawn, added, days, drawn / days)


def _weekdays(given: Collection[int]) -> set[int]:
    wrong = [day for day in given if day not in WEEK]
    if wrong:
        raise SupplyError(f"Weekday {wrong[0]}: 1 Monday to 7 Sunday is allowed.")
    return set(given) or set(WEEK)


def _walk(start: date, step: int) -> list[date]:
    return [start + timedelta(days=step * days) for days in range(7)]
