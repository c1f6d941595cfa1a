"""How long before and after its due point an act may be done and still count for it."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import TYPE_CHECKING

from maintenance.compute.intervals import IntervalError, Span

if TYPE_CHECKING:
    from datetime import date


class WindowError(IntervalError):
    """A window that cannot be, or that reaches over its whole interval."""


class WindowKind(StrEnum):
    """How a window around a due day is given."""

    NONE = "none"
    SYMMETRIC = "symmetric"
    ASYMMETRIC = "asymmetric"
    PERCENTAGE = "percentage"
    FROM_DONE = "after the last act"


NO_TIME = Span()


@dataclass(frozen=True, slots=True)
class PercentLaw:
    """How a percentage of an interval is cut: days a month counts for, cap in days."""

    month_days: int
    cap_days: int


@dataclass(frozen=True, slots=True)
class Window:
    """A window; ``before`` and ``after`` as the kind says, ``percent`` with ``law`` for a percentage.

    After the last act: ``before`` is the earliest and ``after`` the latest time since it.
    """

    kind: WindowKind = WindowKind.NONE
    before: Span = NO_TIME
    after: Span = NO_TIME
    percent: Decimal = Decimal(0)
    law: PercentLaw | None = None


NO_WINDOW = Window()


@dataclass(frozen=True, slots=True)
class Opening:
    """First and last day on which the act counts for its due day."""

    opens: date
    closes: date

    def holds(self, day: date) -> bool:
        """Whether ``day`` lies in it, both ends included."""
        return self.opens <= day <= self.closes


def percent_days(interval: Span, percent: Decimal, law: PercentLaw) -> int:
    """Return a percentage of an interval in whole days, capped; fractions of a day are cut off.

    Source: maintenance/reference/windows.toml [percentage].

    >>> percent_days(Span(6), Decimal(10), PercentLaw(30, 30)), percent_days(Span(11), Decimal(10), PercentLaw(30, 30))
    (18, 30)
    """
    days = interval.months * law.month_days + interval.days
    return min(law.cap_days, int(days * percent / 100))


def opening(window: Window, interval: Span, due: date, done: date, day: int | None = None) -> Opening:
    """Return when the act that falls due on ``due`` may be done.

    ``done`` is the last act; ``day`` the day of the month that the due day keeps.
    Errors: WindowError if the window closes before it opens or before the last act.
    """
    match window.kind:
        case WindowKind.NONE:
            return Opening(due, due)
        case WindowKind.FROM_DONE:
            found = Opening(window.before.after(done), window.after.after(done))
        case WindowKind.PERCENTAGE:
            if window.law is None:
                raise WindowError("A window in percent needs the days of a month and a cap. Give its law.")
            allowance = Span(days=percent_days(interval, window.percent, window.law))
            found = Opening(allowance.before(due), allowance.after(due))
        case _:
            found = Opening(window.before.before(due, day), window.after.after(due, day))
    if found.closes < max(found.opens, done):
        raise WindowError(f"The window {found.opens} to {found.closes} closes before it opens. Check its two sides.")
    return found


def allowance(interval: Decimal, percent: Decimal, cap: Decimal | None) -> Decimal:
    """Return what a counter may run short or over: a percentage of its interval, capped.

    Units: those of the counter. Source: maintenance/reference/windows.toml [hours].

    >>> allowance(Decimal(25), Decimal(10), Decimal(5)), allowance(Decimal(75), Decimal(10), Decimal(5))
    (Decimal('2.5'), Decimal('5'))
    """
    part = interval * percent / 100
    return part if cap is None else min(part, cap)
