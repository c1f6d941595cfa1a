"""Why a member is good, limited, not known or bad: the sentence, the value, the limit and the source."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from facility.compute import facts as f
from facility.compute.instants import FOREVER, Instant
from facility.compute.members import (
    CHECK_LEVELS,
    RESULT_LEVELS,
    content_at,
    defect_spans,
    due_instant,
    due_spans,
)
from facility.compute.states import BAD, GOOD, LIMITED, UNKNOWN
from facility.gathered import minute_down, minute_up
from facility.models import CheckResult
from facility.readiness import words
from facility.readiness.explain_rules import Cause, act_of, named, of_counter, of_event, of_restriction, untold
from facility.readiness.shut_downs.rows import SHUT_DOWN
from maintenance.readiness import LIFE
from maintenance.readiness.rule_facts import ON_RECORD
from treatments.readiness import IN_USE

if TYPE_CHECKING:
    from collections.abc import Iterator

    from facility.readiness.names import Names
    from maintenance.readiness.rule_rows import RuleRow

MEMBER_STATES = ("good", "limited", "unknown", "bad")


@dataclass(frozen=True, slots=True)
class Asked:
    """What a member is judged for: the plan, the part of the run in instants, the gas it must hold."""

    plan: str
    at: Instant
    first: Instant
    last: Instant
    demand: f.GasDemand | None
    gas: str | None


def causes_of(name: str, facility: f.Facility, names: Names, asked: Asked) -> list[Cause]:
    """Return everything that bears on a member, worst first."""
    member = facility.members[name]
    if name == SHUT_DOWN:
        found = list(_shut_down(facility, names, asked))
    elif isinstance(member, f.Equipment):
        found = list(_equipment(name, member, facility, names, asked))
    elif isinstance(member, f.Bank):
        found = list(_bank(name, member, facility, names, asked))
    else:
        found = list(_check(name, member, facility, names, asked))
    return sorted(found, key=lambda cause: -cause.level)


def _worst(spans: list[tuple[Instant, Instant, int]], asked: Asked) -> int:
    """Worst level of spans that meet the part, both of its ends included."""
    return max((level for since, until, level in spans if since <= asked.last and until > asked.first), default=GOOD)


def _equipment(name: str, item: f.Equipment, facility: f.Facility, names: Names, asked: Asked) -> Iterator[Cause]:
    if name == IN_USE:
        yield _in_use(item, facility, asked)
        return
    yield from _defects(name, item.defects, facility, names, asked)
    for result in item.results:
        level = RESULT_LEVELS[result.result]
        if level != GOOD:
            yield Cause(level, _result_words(level, words.day_of(result.at, facility.zone)))
    rules = names.rules(name)
    dues = sorted(item.due, key=lambda due: FOREVER if due.until is None else due_instant(due.until, facility.zone))
    for due in dues:
        yield _due(due, rules.get(act_of(due.name)), facility.zone, asked)
    run_min = facility.plans[asked.plan].duration_min
    for counter in item.counters:
        if counter != ON_RECORD:
            yield of_counter(counter, rules.get(act_of(counter.name)), run_min)
    if not item.due and not item.results and not item.counters:
        yield Cause(UNKNOWN, _("nothing is on record of it"))


def _in_use(item: f.Equipment, facility: f.Facility, asked: Asked) -> Cause:
    (shut,) = item.defects
    level = _worst(defect_spans(item.defects, asked.plan), asked)
    since, free = words.when(shut.from_, facility.zone), words.when(shut.until or shut.from_, facility.zone)
    if level == GOOD:
        return Cause(level, _("free"))
    return Cause(level, _("in use since %(since)s, free from %(free)s") % {"since": since, "free": free})


def _shut_down(facility: f.Facility, names: Names, asked: Asked) -> Iterator[Cause]:
    """Say each shut-down that is on or ahead; one that a run would meet stops it."""
    for row in names.records.shut_of.get(names.chamber.pk, ()):
        since, until = minute_down(row.starts_at), minute_up(row.ends_at)
        level = _worst([(since, until, BAD)], asked)
        said = {"why": row.why, "since": words.when(since, facility.zone), "until": words.when(until, facility.zone)}
        yield Cause(level, _("shut down from %(since)s to %(until)s: %(why)s") % said)


def _result_words(level: int, on: str) -> str:
    if level == BAD:
        return _("its newest result failed, %(day)s") % {"day": on}
    return _("it could not be read, %(day)s") % {"day": on}


def _due(due: f.Due, rule: RuleRow | None, zone: str, asked: Asked) -> Cause:
    act = _("service life") if due.name == LIFE else named(due.name)
    source = rule.source if rule else ""
    if due.until is None:
        return Cause(UNKNOWN, untold(due.name, act, rule), source=source)
    end = due_instant(due.until, zone)
    level = _worst(due_spans((due,), zone), asked)
    if isinstance(due.until, int):
        return Cause(level, of_event(due, act, zone), limit=words.when(end, zone), source=source)
    last = words.day(due.until.date)
    if end <= asked.first:
        text = _("%(act)s was due %(day)s") % {"act": act, "day": last}
    elif level == BAD:
        text = _("%(act)s falls due %(day)s, before the run would end") % {"act": act, "day": last}
    else:
        text = _("%(act)s good through %(day)s") % {"act": act, "day": last}
    done = rule.passed[0] if rule and rule.passed else ""
    value = _("done %(day)s") % {"day": words.day_text(done)} if done else ""
    return Cause(level, text, value=value, limit=last, source=source)


def _defects(
    name: str, defects: tuple[f.Defect, ...], facility: f.Facility, names: Names, asked: Asked
) -> Iterator[Cause]:
    rows = names.defects(name)
    by_rule = names.restrictions(name)
    for defect in defects:
        level = _worst(defect_spans((defect,), asked.plan), asked)
        row = next((one for one in rows if minute_down(one.found_at) == defect.from_), None)
        if row is None and defect.from_ in by_rule:
            rule = names.rules(name).get(act_of(by_rule[defect.from_]))
            yield of_restriction(defect.from_, by_rule[defect.from_], rule, (level, facility.zone))
            continue
        said = {
            "when": words.when(defect.from_, facility.zone),
            "tag": f"{row.number:04d}" if row else "",
            "what": row.what if row else "",
        }
        if defect.from_ <= asked.last and level == GOOD:
            continue  # it is of other plans, or already over
        if defect.effect == "out":
            text = _("out of service from %(when)s, tag %(tag)s: %(what)s") % said
        else:
            text = _("restricted from %(when)s, tag %(tag)s: %(what)s") % said
        yield Cause(level, text)


def _bank(name: str, bank: f.Bank, facility: f.Facility, names: Names, asked: Asked) -> Iterator[Cause]:
    yield from _defects(name, bank.defects, facility, names, asked)
    if asked.gas is not None and bank.gas != asked.gas:
        yield Cause(BAD, _("holds %(gas)s, not %(asked)s") % {"gas": bank.gas, "asked": asked.gas})
        return
    if asked.demand is None:
        yield Cause(UNKNOWN, _("the plan states no demand of this gas"))
        return
    age = facility.age_limit_min.bank or 0
    content, unread = content_at(bank, asked.at, age)
    needed = Fraction(asked.demand.demand) + Fraction(asked.demand.reserve)
    said = {"have": words.litres(content), "need": words.litres(needed)}
    limit = _("%(need)s: %(demand)s and %(reserve)s in reserve") % {
        "need": said["need"],
        "demand": words.litres(asked.demand.demand),
        "reserve": words.litres(asked.demand.reserve),
    }
    if content >= needed:
        yield Cause(GOOD, _("%(have)s counted, %(need)s needed") % said, said["have"], limit)
    elif unread:
        text = _("%(have)s counted of %(need)s needed; the rest is not read, or longer ago than allowed") % said
        yield Cause(UNKNOWN, text, said["have"], limit, _("reading not older than %s") % words.span(age))
    else:
        yield Cause(BAD, _("%(have)s counted of %(need)s needed") % said, said["have"], limit)


def _check(name: str, check: f.Check, facility: f.Facility, names: Names, asked: Asked) -> Iterator[Cause]:
    age = facility.age_limit_min.check
    limit = _("%s after signing") % words.span(age)
    source = _("house rule: age of a check")
    signed = names.sheets[name].signed if name in names.sheets else None
    if not check.checks or signed is None:
        yield Cause(UNKNOWN, _("no signed check on record"), limit=limit, source=source)
        return
    newest = max(check.checks, key=lambda one: one.signed_at)
    old = asked.at - newest.signed_at
    said = {"when": words.when(newest.signed_at, facility.zone), "who": signed.signed_by, "old": words.span(old)}
    value = _("%(old)s old") % said
    level = CHECK_LEVELS[newest.result]
    texts = {
        GOOD: _("signed %(when)s by %(who)s"),
        LIMITED: _("passed with limits, signed %(when)s by %(who)s"),
        BAD: _("failed, signed %(when)s by %(who)s"),
    }
    yield Cause(level, texts[level] % said, value, limit, source)
    if signed.result == CheckResult.UNREAD:
        yield Cause(UNKNOWN, _("not all could be read, signed %(when)s by %(who)s") % said, value, limit, source)
    elif any(newest.signed_at <= opened <= asked.last for opened in check.opened):
        text = _("the chamber was opened for work or ended a run after the check of %(when)s") % said
        yield Cause(UNKNOWN, text, value, limit, source)
    if old >= age:
        yield Cause(UNKNOWN, _("signed %(when)s, %(old)s ago: too old") % said, value, limit, source)
