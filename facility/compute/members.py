"""When a member is good, limited, unknown or bad.

Ages and the content of a bank are judged at the start of a run only; all else at
every instant of the part.
"""

from __future__ import annotations

from facility.compute.facts import (
    Bank,
    Check,
    Counter,
    Cylinder,
    Defect,
    Due,
    DueDate,
    Equipment,
    GasDemand,
    Number,
)
from facility.compute.instants import FOREVER, Instant, end_of_local_day
from facility.compute.states import BAD, GOOD, LIMITED, UNKNOWN
from facility.compute.steps import PAST, LevelSpan, Steps, worst_of

RESULT_LEVELS = {"passed": GOOD, "could not read": UNKNOWN, "failed": BAD}
CHECK_LEVELS = {"passed": GOOD, "limits": LIMITED, "failed": BAD}
DEFECT_LEVELS = {"restricted": LIMITED, "out": BAD}


def due_instant(until: Instant | DueDate, zone: str) -> Instant:
    """First instant at which what is due is no longer good."""
    if isinstance(until, DueDate):
        return end_of_local_day(until.date, until.window_days, zone)
    return until


def due_spans(due: tuple[Due, ...], zone: str) -> list[LevelSpan]:
    """Spans in which an interval is not good: not recorded (yet), or expired."""
    spans: list[LevelSpan] = []
    for item in due:
        if item.until is None:
            spans.append((PAST, FOREVER, UNKNOWN))
            continue
        if item.from_ is not None:
            spans.append((PAST, item.from_, UNKNOWN))
        spans.append((due_instant(item.until, zone), FOREVER, BAD))
    return spans


def defect_spans(defects: tuple[Defect, ...], plan: str) -> list[LevelSpan]:
    """Spans in which a defect or shut-down acts on ``plan``."""
    return [
        (
            defect.from_,
            FOREVER if defect.until is None else defect.until,
            DEFECT_LEVELS[defect.effect],
        )
        for defect in defects
        if defect.plans is None or plan in defect.plans
    ]


def _newest(records: list[tuple[Instant, int]], before: int, start: Instant) -> list[LevelSpan]:
    """Spans of the newest record from ``start`` on; of two at one instant the worse."""
    level = max([one for one in records if one[0] <= start], default=(PAST, before))[1]
    since = PAST
    spans: list[LevelSpan] = []
    for instant, worse in sorted(one for one in records if one[0] > start):
        spans.append((since, instant, level))
        since, level = instant, worse
    spans.append((since, FOREVER, level))
    return [span for span in spans if span[2]]


def equipment_steps(item: Equipment, plan: str, zone: str, start: Instant) -> Steps:
    """All that acts on an item at every instant, counters apart."""
    spans = due_spans(item.due, zone)
    silent = GOOD if item.due or item.counters else UNKNOWN
    if item.results:
        records = [(one.at, RESULT_LEVELS[one.result]) for one in item.results]
        spans += _newest(records, silent, start)
    elif silent:
        spans.append((PAST, FOREVER, UNKNOWN))
    if item.defects:
        spans += defect_spans(item.defects, plan)
    return worst_of(spans, start)


def counter_level(counter: Counter, run_min: int) -> int:
    """Level of a life limit for one run of ``run_min`` minutes.

    Equal is enough. Compared in sixtieths, so that no division can round.
    """
    if counter.count is None:
        return UNKNOWN
    used = (counter.count + counter.per_run) * 60 + counter.per_hour * run_min
    return GOOD if used <= counter.limit * 60 else BAD


def counters_level(item: Equipment, run_min: int) -> int:
    """Worst level of an item's counters for one run of ``run_min`` minutes."""
    return max([counter_level(one, run_min) for one in item.counters], default=GOOD)


def bank_steps(bank: Bank, plan: str, zone: str, start: Instant) -> Steps:
    """All that acts on a bank at every instant, its content apart."""
    spans = due_spans(bank.due, zone) + defect_spans(bank.defects, plan)
    return worst_of(spans, start)


def content_at(bank: Bank, instant: Instant, age_limit_min: int) -> tuple[Number, bool]:
    """Content that counts at ``instant``, and whether a cylinder is unread or stale."""
    content: Number = 0
    unread = False
    for cylinder in bank.cylinders:
        if cylinder.analysis != "passed":
            continue
        since, until = _readable(cylinder, age_limit_min)
        if cylinder.usable is not None and since <= instant < until:
            content += cylinder.usable
        else:
            unread = True
    return content, unread


def _readable(cylinder: Cylinder, age_limit_min: int) -> tuple[Instant, Instant]:
    if cylinder.read_at is None:
        return FOREVER, FOREVER
    return cylinder.read_at, cylinder.read_at + age_limit_min


def content_steps(bank: Bank, demand: GasDemand, age_limit_min: int, start: Instant) -> Steps:
    """Whether a bank holds demand and reserve, by the start of the run."""
    points = {start}
    for cylinder in bank.cylinders:
        if cylinder.analysis == "passed" and cylinder.read_at is not None:
            points.update(one for one in _readable(cylinder, age_limit_min) if one > start)
    asked = demand.demand + demand.reserve
    instants = sorted(points)
    levels = []
    for instant in instants:
        content, unread = content_at(bank, instant, age_limit_min)
        short = UNKNOWN if unread else BAD
        levels.append(GOOD if content >= asked else short)
    return instants, levels


def check_steps(check: Check, start: Instant) -> Steps:
    """Newest result of a check and openings since, at every instant."""
    records = sorted((one.signed_at, CHECK_LEVELS[one.result]) for one in check.checks)
    spans = _newest(records, UNKNOWN, start)
    signed = sorted({instant for instant, _ in records})
    for opened in check.opened:
        later = [instant for instant in signed if instant > opened]
        spans.append((opened, later[0] if later else FOREVER, UNKNOWN))
    return worst_of(spans, start)


def check_age_steps(check: Check, age_limit_min: int, start: Instant) -> Steps:
    """Whether the newest check is young enough, by the start of the run."""
    signed = sorted({one.signed_at for one in check.checks})
    spans: list[LevelSpan] = [(PAST, signed[0] if signed else FOREVER, UNKNOWN)]
    for position, instant in enumerate(signed):
        later = signed[position + 1] if position + 1 < len(signed) else FOREVER
        stale = instant + age_limit_min
        if stale < later:
            spans.append((stale, later, UNKNOWN))
    return worst_of(spans, start)
