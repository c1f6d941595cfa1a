"""An act that may be put off while inspections stay clean, but never past a hard stop."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from maintenance.compute.intervals import Span, end_of_month

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date


@dataclass(frozen=True, slots=True)
class DeferralRule:
    """Due after ``first``, put off by ``step`` at each clean inspection, never later than ``hard_stop``."""

    first: Span
    step: Span
    hard_stop: Span


@dataclass(frozen=True, slots=True)
class Inspection:
    """An inspection and whether it found the item clean."""

    on: date
    clean: bool


@dataclass(frozen=True, slots=True)
class Deferred:
    """Due day without and with deferrals, how often it was put off, and the hard stop."""

    first_due_on: date
    due_on: date
    hard_stop_on: date
    times: int
    may_defer_again: bool


def deferred(
    rule: DeferralRule, done_on: date, inspections: Sequence[Inspection], *, month_only: bool = False
) -> Deferred:
    """Return the due day after all deferrals.

    Only an inspection on or after the day then due defers (with dates by month: in that
    month or later); an early one defers nothing. One that is not clean ends all deferring.
    """
    day = 31 if month_only else done_on.day
    first = due = rule.first.after(done_on, day)
    stop = rule.hard_stop.after(done_on, day)
    times, clean = 0, True
    for inspection in sorted(inspections, key=lambda one: one.on):
        clean = clean and inspection.clean
        day_seen = end_of_month(inspection.on) if month_only else inspection.on
        if clean and day_seen >= due and due < stop:
            due = min(rule.step.after(due, day), stop)
            times += 1
    due = min(due, stop)
    return Deferred(min(first, stop), due, stop, times, may_defer_again=clean and due < stop)
