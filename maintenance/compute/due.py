"""When an act falls due by all its rules at once: calendar, counter, life, events; whichever comes first.

Each side is reckoned by itself, and a window moves only its own side. An item is in date
through the end of its due day. A counter exactly at its limit has reached it.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from maintenance.compute.counters import Reading, projected_on, reached_on, usage_of
from maintenance.compute.due_windows import NO_WINDOW, Opening, Window, WindowError, opening
from maintenance.compute.intervals import IntervalError, Span

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date
    from decimal import Decimal

    from maintenance.compute.counters import Usage


class Anchor(StrEnum):
    """What the next due day is reckoned from."""

    FLOATING = "floating"  # the day it was done
    FIXED = "fixed"  # the day it was due, where it was done inside its window


class Cause(StrEnum):
    """Why an act falls due."""

    CALENDAR = "calendar"
    COUNTER = "counter"
    LIFE_AGE = "life by age"
    LIFE_COUNT = "life by count"
    EVENT = "event"


@dataclass(frozen=True, slots=True)
class Side:
    """One reason for falling due: its last good day (None: no date can be given), and why."""

    cause: Cause
    due_on: date | None
    opening: Opening | None = None
    projected: bool = False
    reached: bool = False
    limit: Decimal | None = None
    usage: Usage | None = None
    event: str = ""
    anchor_kept: bool | None = None


@dataclass(frozen=True, slots=True)
class Last:
    """The last act: when, when it had been due, and the day of the month that its due days keep."""

    done_on: date
    due_on: date | None = None
    day: int | None = None


@dataclass(frozen=True, slots=True)
class Happening:
    """Something that may ask for the act anew: its kind in words, and its day."""

    kind: str
    on: date


@dataclass(frozen=True, slots=True)
class Due:
    """All sides, and the one that comes first."""

    sides: tuple[Side, ...]

    @property
    def first(self) -> Side | None:
        """The side with the earliest day, None where no side has one."""
        dated = [side for side in self.sides if side.due_on is not None]
        if len(dated) == 1:
            return dated[0]
        return min(dated, key=lambda side: (side.due_on, list(Cause).index(side.cause))) if dated else None

    def in_date(self, today: date, *, window_keeps_good: bool = False) -> bool:
        """Whether the item is good on ``today``: through the due day of every side.

        A reached counter or an event ends it at once; a projected day that has passed without a
        newer reading ends it too. With ``window_keeps_good`` (a house
        choice) a side is good through the end of its window.
        """
        return all(_good(side, today, window_keeps_good=window_keeps_good) for side in self.sides)


def by_calendar(interval: Span, last: Last, anchor: Anchor = Anchor.FLOATING, window: Window = NO_WINDOW) -> Side:
    """Return the calendar side.

    Fixed: from the last due day if the act was done inside that day's window, else from the day done.
    Errors: IntervalError if the interval is no time; WindowError if the window is impossible.
    """
    if not interval or interval.months < 0 or interval.days < 0:
        raise IntervalError(f"An interval of {interval.months} months and {interval.days} days never falls due.")
    held = _held_anchor(window, interval, last) if anchor is Anchor.FIXED else None
    start = last.done_on if held is None else held
    day = last.day if held is not None or anchor is Anchor.FLOATING else None
    due_on = interval.after(start, day)
    if due_on <= last.done_on:
        raise WindowError(f"Due on {due_on}, done on {last.done_on}: the window reaches over the whole interval.")
    return Side(
        Cause.CALENDAR,
        due_on,
        opening(window, interval, due_on, last.done_on, day),
        anchor_kept=held is not None if anchor is Anchor.FIXED else None,
    )


def _held_anchor(window: Window, interval: Span, last: Last) -> date | None:
    """Return the day the last act had been due, if it was done inside the window of that day."""
    if last.due_on is None:
        return None
    before = interval.before(last.due_on, last.day)  # stands for the act before, which a window "after" counts from
    inside = opening(window, interval, last.due_on, before, last.day).holds(last.done_on)
    return last.due_on if inside else None


def by_counter(limit: Decimal, total: Sequence[Reading], span_days: int, cause: Cause = Cause.COUNTER) -> Side:
    """Return the side of a counter that falls due at ``limit``: reached on a day, or projected from its use.

    Units: ``limit`` and readings those of the counter, as a running total.
    """
    rate = usage_of(total if isinstance(total, tuple) else tuple(total), span_days)
    reached = reached_on(total, limit)
    if reached is not None:
        return Side(cause, reached, reached=True, limit=limit, usage=rate)
    when = projected_on(total[-1], limit, rate.per_day) if total and rate is not None else None
    return Side(cause, when, projected=when is not None, limit=limit, usage=rate)


def next_count(interval: Decimal, done_at: Decimal, due_at: Decimal | None, allowed: Decimal) -> Decimal:
    """Return the count at which an act is next due: from the last due count if done within ``allowed`` of it.

    ``due_at`` None: floating, from the count at which it was done. Units: those of the counter.
    """
    if due_at is not None and abs(done_at - due_at) <= allowed:
        return due_at + interval
    return done_at + interval


def by_age(life: Span, begun_on: date) -> Side:
    """Return the side of a life limit by age, counted from ``begun_on``."""
    return Side(Cause.LIFE_AGE, life.after(begun_on))


def by_event(last: Last, triggers: frozenset[str], happenings: Sequence[Happening]) -> Side | None:
    """Return the side of the first event after the last act that asks for it anew, or None.

    An event of the same day as the act is taken as come before it.
    """
    asked = [one for one in happenings if one.kind in triggers and one.on > last.done_on]
    if not asked:
        return None
    first = min(asked, key=lambda one: one.on)
    return Side(Cause.EVENT, first.on, reached=True, event=first.kind)


def _good(side: Side, today: date, *, window_keeps_good: bool) -> bool:
    if side.due_on is None:
        return True
    if side.reached:
        return today < side.due_on
    last = side.opening.closes if window_keeps_good and side.opening is not None else side.due_on
    return today <= max(last, side.due_on)
