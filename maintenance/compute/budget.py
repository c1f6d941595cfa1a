"""What work and replacements lie ahead, and what they are expected to cost.

An act comes again one interval after it was due; one that is overdue is counted today. A price that nobody knows is
counted as unknown, never as nothing: a sum says how many such acts it leaves out.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass, replace
from datetime import timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

from maintenance.compute.intervals import Span

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date

MOST_TIMES = 5_000


class BudgetError(ValueError):
    """A plan that cannot be drawn up; the text says why."""


@dataclass(frozen=True, slots=True)
class Ahead:
    """One act or replacement that comes up: when first, how often again, at which price each time.

    ``interval`` None and ``every_days`` None: once. ``first_on`` None: nobody can say when. ``life``: the end of the
    item's or a part's life, so that a new one is to be paid.
    """

    item: str
    act: str
    first_on: date | None
    interval: Span | None = None
    every_days: int | None = None
    price: Decimal | None = None
    currency: str = ""
    projected: bool = False
    life: bool = False
    item_id: int = 0
    rule_id: int = 0


@dataclass(frozen=True, slots=True)
class Time:
    """One time at which something comes up."""

    on: date
    ahead: Ahead
    overdue: bool = False


@dataclass(frozen=True, slots=True)
class Sum:
    """What lies before a day: how many acts, known prices by currency, and how many have no known price."""

    label: str
    until: date
    acts: int
    totals: dict[str, Decimal]
    unpriced: int


def times(rows: Iterable[Ahead], today: date, until: date) -> tuple[Time, ...]:
    """Return each time up to and including ``until``, in order of day, item and act.

    Errors: BudgetError for an interval of nothing.
    """
    found: list[Time] = []
    for row in rows:
        found += _of(row, today, until)
    return tuple(sorted(found, key=lambda one: (one.on, one.ahead.item, one.ahead.act)))


def _of(row: Ahead, today: date, until: date) -> list[Time]:
    if row.first_on is None:
        return []
    due = max(row.first_on, today)
    found: list[Time] = []
    day = due.day
    while due <= until:
        found.append(Time(due, row, overdue=not found and row.first_on < today))
        later = _next(row, due, day)
        if later is None:
            break
        if later <= due or len(found) > MOST_TIMES:
            raise BudgetError(f"{row.item}, {row.act}: an interval must be longer than nothing. Correct its rule.")
        due = later
    return found


def _next(row: Ahead, due: date, day: int) -> date | None:
    if row.interval is not None:
        return row.interval.after(due, day)
    if row.every_days is not None:
        return due + timedelta(days=row.every_days)
    return None


def sums(found: Sequence[Time], ends: Sequence[tuple[str, date]]) -> tuple[Sum, ...]:
    """Return what lies before and on each end, each counted from the start."""
    result = []
    for label, until in ends:
        within = [one for one in found if one.on <= until]
        totals: defaultdict[str, Decimal] = defaultdict(Decimal)
        for one in within:
            if one.ahead.price is not None:
                totals[one.ahead.currency] += one.ahead.price
        unpriced = sum(one.ahead.price is None for one in within)
        result.append(Sum(label, until, len(within), dict(totals), unpriced))
    return tuple(result)


def by_month(found: Iterable[Time]) -> dict[str, list[Time]]:
    """Return the times by calendar month, "2026-11" first."""
    months: dict[str, list[Time]] = {}
    for one in found:
        months.setdefault(f"{one.on:%Y-%m}", []).append(one)
    return months


def remembered(paid: Iterable[tuple[int, date, Decimal, str]]) -> dict[int, tuple[Decimal, str]]:
    """Return the newest price by rule from (rule, day, price, currency)."""
    newest: dict[int, tuple[date, Decimal, str]] = {}
    for rule, day, price, currency in paid:
        if rule not in newest or day >= newest[rule][0]:
            newest[rule] = (day, price, currency)
    return {rule: (price, currency) for rule, (_day, price, currency) in newest.items()}


def priced(rows: Iterable[Ahead], paid: dict[int, tuple[Decimal, str]]) -> tuple[Ahead, ...]:
    """Return the rows with what was last paid, where no price is set by hand."""
    return tuple(
        replace(row, price=paid[row.rule_id][0], currency=paid[row.rule_id][1])
        if row.price is None and row.rule_id in paid and not row.life
        else row
        for row in rows
    )


def busiest(found: Iterable[Time]) -> tuple[str, int] | None:
    """Return the calendar month with the most acts, the earliest on a tie."""
    counted = Counter(f"{one.on:%Y-%m}" for one in found)
    return min(counted.items(), key=lambda pair: (-pair[1], pair[0])) if counted else None
