"""All sides of one rule at once, from its terms and what is on record; pages and readiness reckon with this alike."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import TYPE_CHECKING

from maintenance.compute.deferral import DeferralRule, Deferred, Inspection, deferred
from maintenance.compute.due import (
    Anchor,
    Cause,
    Due,
    Happening,
    Last,
    Side,
    by_age,
    by_calendar,
    by_counter,
    by_event,
    next_count,
)
from maintenance.compute.due_windows import NO_TIME, NO_WINDOW, Opening, Window
from maintenance.compute.intervals import IntervalError, Span

if TYPE_CHECKING:
    from datetime import date

    from maintenance.compute.counters import Reading

LONGEST_MONTH = 31
NOUGHT = Decimal(0)


@dataclass(frozen=True, slots=True)
class Terms:
    """What a rule says. Counts in the unit of its counter; ``allowed`` is how far early or late keeps a fixed count."""

    interval: Span = NO_TIME
    anchor: Anchor = Anchor.FLOATING
    window: Window = NO_WINDOW
    count_every: Decimal | None = None
    allowed: Decimal = NOUGHT
    count_life: Decimal | None = None
    count_at_fitting: Decimal = NOUGHT
    life: Span = NO_TIME
    triggers: frozenset[str] = frozenset()
    step: Span = NO_TIME
    hard_stop: Span = NO_TIME

    @property
    def asks_again(self) -> bool:
        """Whether it asks for an act time after time, so that none on record is not known."""
        return bool(self.interval) or self.count_every is not None

    @property
    def may_be_put_off(self) -> bool:
        """Whether clean looks put it off."""
        return bool(self.interval and self.step and self.hard_stop)


@dataclass(frozen=True, slots=True)
class Act:
    """A passed act. ``count`` is the running total then; ``renewed``: the thing was replaced, so its life began anew."""

    done_on: date
    due_on: date | None = None
    month_only: bool = False
    count: Decimal | None = None
    renewed: bool = False


@dataclass(frozen=True, slots=True)
class Past:
    """What is on record: passed acts oldest first, events, looks, the running total, the day the life began."""

    acts: tuple[Act, ...] = ()
    happenings: tuple[Happening, ...] = ()
    looks: tuple[Inspection, ...] = ()
    total: tuple[Reading, ...] = ()
    begun_on: date | None = None


@dataclass(frozen=True, slots=True)
class Counted:
    """One count against its limit, since the last act or over the life. ``count`` None: it cannot be told."""

    cause: Cause
    count: Decimal | None
    limit: Decimal


@dataclass(frozen=True, slots=True)
class Reckoned:
    """All that was reckoned of a rule.

    ``never``: an act is asked for and none is on record; ``unbegun``: a life by age without a day it
    began; ``fault``: why the calendar side could not be reckoned.
    """

    due: Due
    counts: tuple[Counted, ...] = ()
    put_off: Deferred | None = None
    never: bool = False
    unbegun: bool = False
    fault: str = ""

    @property
    def untold(self) -> bool:
        """Whether some side cannot be told from what is on record."""
        return self.never or self.unbegun or bool(self.fault) or any(one.count is None for one in self.counts)


@dataclass(slots=True)
class _Sides:
    sides: list[Side] = field(default_factory=list)
    counts: list[Counted] = field(default_factory=list)
    put_off: Deferred | None = None
    fault: str = ""


def reckon(terms: Terms, past: Past, span_days: int) -> Reckoned:
    """Return every side of a rule. ``span_days``: over how long the rate of use is taken."""
    found = _Sides()
    _calendar(terms, past, found)
    _counter(terms, past, span_days, found)
    _life(terms, past, span_days, found)
    _events(terms, past, found)
    return Reckoned(
        Due(tuple(found.sides)),
        tuple(found.counts),
        found.put_off,
        never=terms.asks_again and not past.acts,
        unbegun=bool(terms.life) and _life_begun(past) is None,
        fault=found.fault,
    )


def last_good(done_on: date, interval: Span, *, month_only: object = False) -> date:
    """Return the last good day of an act under a floating interval; a month alone is good to the end of that month."""
    return interval.after(done_on, LONGEST_MONTH if month_only else None)


def _calendar(terms: Terms, past: Past, found: _Sides) -> None:
    if not terms.interval or not past.acts:
        return
    last = past.acts[-1]
    try:
        if terms.may_be_put_off:
            found.put_off = _put_off(terms, past)
            side = Side(Cause.CALENDAR, found.put_off.due_on, Opening(found.put_off.due_on, found.put_off.due_on))
        else:
            side = _anchored(terms, past) if terms.anchor is Anchor.FIXED else _floating(terms, last)
    except IntervalError as fault:
        found.fault = str(fault)
        return
    if last.due_on is not None:
        side = replace(side, due_on=last.due_on)
    found.sides.append(side)


def _put_off(terms: Terms, past: Past) -> Deferred:
    last = past.acts[-1]
    later = [look for look in past.looks if look.on > last.done_on]
    rule = DeferralRule(terms.interval, terms.step, terms.hard_stop)
    return deferred(rule, last.done_on, later, month_only=last.month_only)


def _floating(terms: Terms, act: Act) -> Side:
    day = LONGEST_MONTH if act.month_only else None
    return by_calendar(terms.interval, Last(act.done_on, None, day), Anchor.FLOATING, terms.window)


def _anchored(terms: Terms, past: Past) -> Side:
    """Walk the acts in order: each keeps the anchor if it was done inside the window of the day it had been due."""
    due: date | None = None
    day: int | None = None
    side = _floating(terms, past.acts[0])
    for act in past.acts:
        side = by_calendar(terms.interval, Last(act.done_on, due, day), Anchor.FIXED, terms.window)
        if not side.anchor_kept:
            side = replace(_floating(terms, act), anchor_kept=False)
            day = LONGEST_MONTH if act.month_only else act.done_on.day
        due = act.due_on or side.due_on
        day = act.due_on.day if act.due_on is not None else day
    return side


def _counter(terms: Terms, past: Past, span_days: int, found: _Sides) -> None:
    every = terms.count_every
    if every is None or not past.acts:
        return
    done_at = _count_at(past.acts[-1], past.total)
    if done_at is None or not past.total:
        found.counts.append(Counted(Cause.COUNTER, None, every))
        return
    due_at = next_count(
        every, done_at, _count_due(terms, past) if terms.anchor is Anchor.FIXED else None, terms.allowed
    )
    found.counts.append(Counted(Cause.COUNTER, max(past.total[-1].value - done_at, NOUGHT), due_at - done_at))
    found.sides.append(by_counter(due_at, past.total, span_days))


def _count_due(terms: Terms, past: Past) -> Decimal | None:
    """Return the count at which the last act had been due, from the acts before it."""
    every = terms.count_every or NOUGHT
    due_at: Decimal | None = None
    for act in past.acts[:-1]:
        done_at = _count_at(act, past.total)
        due_at = None if done_at is None else next_count(every, done_at, due_at, terms.allowed)
    return due_at


def _count_at(act: Act, total: tuple[Reading, ...]) -> Decimal | None:
    """Return the running total when an act was done: as recorded with it, else the newest reading until that day."""
    if act.count is not None:
        return act.count
    return next((one.value for one in reversed(total) if one.on <= act.done_on), None)


def _life(terms: Terms, past: Past, span_days: int, found: _Sides) -> None:
    begun = _life_begun(past)
    if terms.life and begun is not None:
        found.sides.append(by_age(terms.life, begun))
    life = terms.count_life
    if life is None:
        return
    renewed = next((act for act in reversed(past.acts) if act.renewed), None)
    fitted_at = terms.count_at_fitting if renewed is None else _count_at(renewed, past.total)
    if fitted_at is None or not past.total:
        found.counts.append(Counted(Cause.LIFE_COUNT, None, life))
        return
    found.counts.append(Counted(Cause.LIFE_COUNT, max(past.total[-1].value - fitted_at, NOUGHT), life))
    found.sides.append(by_counter(fitted_at + life, past.total, span_days, Cause.LIFE_COUNT))


def _life_begun(past: Past) -> date | None:
    renewed = [act.done_on for act in past.acts if act.renewed]
    return renewed[-1] if renewed else past.begun_on


def _events(terms: Terms, past: Past, found: _Sides) -> None:
    if not terms.triggers:
        return
    last = Last(past.acts[-1].done_on) if past.acts else None
    asked = [one for one in past.happenings if one.kind in terms.triggers and (last is None or one.on > last.done_on)]
    if last is None and asked:
        first = min(asked, key=lambda one: one.on)
        found.sides.append(Side(Cause.EVENT, first.on, reached=True, event=first.kind))
        return
    side = by_event(last, terms.triggers, past.happenings) if last is not None else None
    if side is not None:
        found.sides.append(side)
