"""From a rule's row to facts: what falls due, what restricts, what is counted.

An overdue act takes the item out, or restricts it where its rule says so: then from the instant at which it
falls due, and from the start if it was never recorded. A counter is good for a run if what the run adds still
fits. A newest passed act that is in doubt or waits for a second look is not known, whatever older ones say.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING

from facility.compute import facts as f
from facility.compute.members import due_instant
from facility.gathered import Row, start_of_day
from maintenance.compute.due import Cause
from maintenance.compute.intervals import Span
from maintenance.compute.rule_due import Counted, last_good, reckon
from maintenance.readiness.rule_rows import CounterRow, MoreRow, RuleRow, past_of, terms_of

if TYPE_CHECKING:
    from facility.compute.instants import Instant
    from maintenance.compute.due import Side

OF = " / "
"""Between the name of an act and the cause for which it falls due, where that is not the calendar."""
EVER: Instant = 0
"""From the start: before all that is on record."""
ON_RECORD = f.Counter("on record", 0, 0)
"""Says no more than that a rule stands on the item, so that restricting it is all that a missing act does."""
SPAN_DAYS = 365
"""Only for the rate of use, which no fact rests on."""
COUNTED = (Cause.COUNTER, Cause.LIFE_COUNT)


@dataclass(frozen=True, slots=True)
class Read:
    """What rows are read with: zone, today, and whether a window keeps an item good."""

    zone: str
    today: str
    keeps: bool


@dataclass(slots=True)
class RuleFacts:
    """The facts of an item's rules so far. ``restricted``: from when, and the name of what restricts it."""

    due: list[f.Due] = field(default_factory=list)
    restricted: list[tuple[Instant, str]] = field(default_factory=list)
    counters: list[f.Counter] = field(default_factory=list)


def name_of(act: str, cause: Cause, event: str = "") -> str:
    """Return what a fact is called: the act, and its cause where that is not the calendar.

    >>> name_of("pressure test", Cause.EVENT, "moved"), name_of("pressure test", Cause.CALENDAR)
    ('pressure test / event: moved', 'pressure test')
    """
    if cause is Cause.CALENDAR:
        return act
    return f"{act}{OF}{cause}: {event}" if event else f"{act}{OF}{cause}"


def rules_said(rules: list[Row], read: Read) -> RuleFacts:
    """Return the facts of an item's rules, as their rows say."""
    found = RuleFacts()
    for rule in rules:
        if rule[7] is None:
            found.due.append(_plain(rule, read))
        else:
            _add_more(RuleRow._make(rule), read, found)
    return found


def _plain(rule: Row, read: Read) -> f.Due:
    """Reckon a plain calendar interval from the newest passed act; never passed stays unknown."""
    name, months, days, window_days, _, passed, _, _ = rule
    if passed is None or passed[3] is not None:
        return f.Due(name, None)
    done, due, month_only, _ = passed
    done_on = date.fromisoformat(done)
    until = last_good(done_on, Span(months, days), month_only=month_only) if due is None else date.fromisoformat(due)
    since = start_of_day(done_on, read.zone) if done > read.today else None
    return f.Due(name, f.DueDate(until, window_days if read.keeps else 0), since)


def _add_more(row: RuleRow, read: Read, to: RuleFacts) -> None:
    past = past_of(row, read.zone, until=read.today)
    found = reckon(terms_of(row), past, SPAN_DAYS)
    dues = [_side(row.name, side, read) for side in found.due.sides if side.cause not in COUNTED]
    if found.unbegun:
        dues.append(f.Due(name_of(row.name, Cause.LIFE_AGE), None))
    if found.never or found.fault or row.waits_for:
        dues.append(f.Due(row.name, None))
    counters = [_counter(row, one) for one in found.counts]
    if not row.restricts:
        to.due += dues
        to.counters += counters
        return
    to.counters.append(ON_RECORD)
    to.restricted += [(EVER if due.until is None else due_instant(due.until, read.zone), due.name) for due in dues]
    read_on = start_of_day(past.total[-1].on, read.zone) if past.total else EVER
    for one in counters:
        if one.count is None or one.count + one.per_run > one.limit:
            to.restricted.append((read_on, one.name))


def _side(act: str, side: Side, read: Read) -> f.Due:
    """Turn one side into a fact: good through its day and window; an event ends it with the first instant of its day."""
    name = name_of(act, side.cause, side.event)
    if side.due_on is None:
        return f.Due(name, None)
    if side.reached:
        return f.Due(name, start_of_day(side.due_on, read.zone))
    late = 0
    if read.keeps and side.opening is not None:
        late = max((side.opening.closes - side.due_on).days, 0)
    return f.Due(name, f.DueDate(side.due_on, late))


def _counter(row: RuleRow, one: Counted) -> f.Counter:
    """Turn one count into a fact. What a run adds is told by the counter itself."""
    counter = CounterRow._make(MoreRow._make(row.more or ()).counter or ())
    return f.Counter(
        name_of(row.name, one.cause),
        None if one.count is None else f.exact(one.count),
        f.exact(one.limit),
        f.exact(Decimal(str(counter.per_run))),
        f.exact(Decimal(str(counter.per_hour))),
    )
