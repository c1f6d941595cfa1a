"""What a rule that is more than a calendar interval says of an item: its counter, its life, its event, in sentences."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from facility.compute import facts as f
from facility.compute.instants import Instant
from facility.compute.members import counter_level
from facility.compute.states import UNKNOWN
from facility.readiness import words
from maintenance.compute.due import Cause as Reason
from maintenance.models import CounterUnit, HappeningKind
from maintenance.readiness.rule_facts import EVER, OF
from maintenance.readiness.rule_rows import IN_DOUBT, SECOND_LOOK, CounterRow, MoreRow

if TYPE_CHECKING:
    from maintenance.readiness.rule_rows import RuleRow


@dataclass(frozen=True, slots=True)
class Cause:
    """One thing that bears on a member, and how bad it makes it through the part of a run."""

    level: int
    text: str
    value: str = ""
    limit: str = ""
    source: str = ""


def act_of(name: str) -> str:
    """Return the act of a fact, whatever its cause."""
    return name.rpartition(OF)[0] or name


def named(name: str) -> str:
    """Return the act and its cause in words."""
    act, cause = act_of(name), name.rpartition(OF)[2]
    if cause == Reason.LIFE_AGE:
        return _("life by age, %(act)s") % {"act": act}
    if cause == Reason.LIFE_COUNT:
        return _("life by count, %(act)s") % {"act": act}
    if cause == Reason.COUNTER:
        return _("%(act)s by its counter") % {"act": act}
    return act


def untold(name: str, act: str, rule: RuleRow | None) -> str:
    """Say why it cannot be told when an act falls due."""
    if name.rpartition(OF)[2] == Reason.LIFE_AGE:
        return _("%(act)s: the day it began is not on record") % {"act": act}
    if rule is None or rule.passed is None:
        return _("%(act)s never recorded") % {"act": act}
    said = {"act": act, "day": words.day_text(rule.passed[0])}
    if rule.waits_for == SECOND_LOOK:
        return _("%(act)s of %(day)s waits for a second look") % said
    if rule.waits_for == IN_DOUBT:
        return _("%(act)s of %(day)s rests on something found bad: in doubt until it is answered") % said
    return _("%(act)s: when it falls due cannot be reckoned from what is recorded") % said


def of_event(due: f.Due, act: str, zone: str) -> str:
    """Say which event asks for an act anew."""
    kind = due.name.rpartition(OF)[2].partition(": ")[2]
    what = str(HappeningKind(kind).label) if kind in HappeningKind.values else kind
    at = due.until if isinstance(due.until, int) else EVER
    return _("%(act)s is asked for anew: %(what)s, %(day)s") % {"act": act, "what": what, "day": words.day_of(at, zone)}


def of_counter(counter: f.Counter, rule: RuleRow | None, run_min: int) -> Cause:
    """Say how far a counter stands from its limit, and what this run would add."""
    level = counter_level(counter, run_min)
    limit, source, act = _figure(counter.limit, rule), rule.source if rule else "", named(counter.name)
    if counter.count is None:
        text = _("%(act)s: its count is not on record, the limit is %(limit)s") % {"act": act, "limit": limit}
        return Cause(UNKNOWN, text, limit=limit, source=source)
    adds = Fraction(counter.per_run) + Fraction(counter.per_hour) * run_min / 60
    said = {"act": act, "count": _figure(counter.count, rule), "limit": limit, "adds": _number(adds)}
    if counter.count >= counter.limit:
        text = _("%(act)s: %(count)s, the limit of %(limit)s is reached") % said
    elif level:
        text = _("%(act)s: %(count)s of %(limit)s, this run adds %(adds)s and would go past it") % said
    else:
        text = _("%(act)s: %(count)s of %(limit)s, this run adds %(adds)s") % said
    return Cause(level, text, value=said["count"], limit=limit, source=source)


def of_restriction(since: Instant, name: str, rule: RuleRow | None, judged: tuple[int, str]) -> Cause:
    """Say that an overdue act restricts the item. ``judged``: level through the part, and the zone."""
    level, zone = judged
    act = named(name)
    source = rule.source if rule else ""
    if since == EVER:
        return Cause(level, _("restricted: %(what)s") % {"what": untold(name, act, rule)}, source=source)
    said = {"act": act, "when": words.when(since, zone)}
    if level:
        return Cause(level, _("restricted from %(when)s: %(act)s is overdue then") % said, source=source)
    return Cause(level, _("%(act)s in date until %(when)s, restricted after it") % said, source=source)


def _figure(value: f.Number, rule: RuleRow | None) -> str:
    unit = ""
    if rule is not None and rule.more is not None:
        counter = MoreRow._make(rule.more).counter
        unit = str(CounterUnit(CounterRow._make(counter).unit).label) if counter else ""
    return f"{_number(Fraction(value))} {unit}".strip()


def _number(value: Fraction) -> str:
    text = f"{Decimal(value.numerator) / Decimal(value.denominator):.2f}"
    return text.rstrip("0").rstrip(".")
