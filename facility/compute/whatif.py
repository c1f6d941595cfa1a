"""The same readiness on changed facts; nothing is stored."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from fractions import Fraction

from facility.compute.changes import (
    AfterRun,
    Change,
    Done,
    Late,
    OutOfService,
    WithoutPerson,
)
from facility.compute.facts import (
    Bank,
    Check,
    Counter,
    Cylinder,
    Defect,
    Due,
    Equipment,
    Facility,
    Member,
    Number,
    Plan,
    Span,
    exact,
)
from facility.compute.findings import Comparison
from facility.compute.instants import MINUTES_PER_DAY, FactsError, Instant
from facility.compute.readiness import evaluate_plan


def what_if(facility: Facility, plan: str, at: Instant, changes: Sequence[Change]) -> Comparison:
    """Readiness of ``plan`` at ``at`` before and after ``changes``, in their order.

    Errors: FactsError if the plan, or what a change names, does not exist.
    """
    return Comparison(
        before=evaluate_plan(facility, plan, at),
        after=evaluate_plan(changed(facility, at, changes), plan, at),
    )


def changed(facility: Facility, at: Instant, changes: Sequence[Change]) -> Facility:
    """The facility after ``changes`` made at ``at``, one after the other."""
    for change in changes:
        facility = _changed(facility, at, change)
    return facility


def _changed(facility: Facility, at: Instant, change: Change) -> Facility:
    match change:
        case WithoutPerson():
            _known("person", change.person, facility.people)
            people = dict(facility.people)
            del people[change.person]
            return replace(facility, people=people)
        case OutOfService():
            item = _item(facility, change.member)
            defects = (*item.defects, Defect(at))
            return _with(facility, change.member, replace(item, defects=defects))
        case Late():
            item = _item(facility, change.member)
            later = change.days * MINUTES_PER_DAY
            return _with(facility, change.member, _late(item, at, later))
        case Done():
            item = _item(facility, change.member)
            return _with(facility, change.member, _done(item, change))
    return _after_run(facility, change)


def _with(facility: Facility, name: str, member: Member) -> Facility:
    return replace(facility, members={**facility.members, name: member})


def _known(what: str, name: str, known: Collection[str]) -> None:
    if name not in known:
        some = ", ".join(list(known)[:8]) or "none at all"
        raise FactsError(f"No {what} {name!r} in the facts. Known: {some}.")


def _item(facility: Facility, name: str) -> Equipment | Bank:
    _known("member", name, facility.members)
    item = facility.members[name]
    if isinstance(item, Check):
        raise FactsError(f"Member {name!r} is a check: this change is for equipment and banks only.")
    return item


def _late(item: Equipment | Bank, at: Instant, later: int) -> Equipment | Bank:
    """Every absence that ends after ``at`` ends so many minutes later."""
    defects = tuple(
        replace(one, until=one.until + later) if one.until is not None and one.until > at else one
        for one in item.defects
    )
    due = tuple(
        replace(one, from_=one.from_ + later) if one.from_ is not None and one.from_ > at else one for one in item.due
    )
    return replace(item, defects=defects, due=due)


def _done(item: Equipment | Bank, change: Done) -> Equipment | Bank:
    names = [one.name for one in item.due]
    if change.due not in names:
        raise FactsError(
            f"Member {change.member!r} has nothing due named {change.due!r}. "
            f"Known: {', '.join(names) or 'none at all'}."
        )
    due = tuple(Due(one.name, change.until) if one.name == change.due else one for one in item.due)
    return replace(item, due=due)


def _after_run(facility: Facility, change: AfterRun) -> Facility:
    _known("plan", change.plan, facility.plans)
    plan = facility.plans[change.plan]
    lasted = plan.duration_min - plan.margin_min
    end = change.start + lasted
    members = {name: _used(member, lasted, end) for name, member in facility.members.items()}
    for gas, name in change.banks.items():
        bank = _bank(facility, name, gas, plan)
        members[name] = _drawn(bank, plan.gas[gas].demand, end)
    people = dict(facility.people)
    for name in change.inside:
        _known("person", name, people)
        wait = Span(change.start, end + plan.wait_min)
        waits = (*people[name].waits, wait)
        people[name] = replace(people[name], waits=waits)
    return replace(facility, members=members, people=people)


def _bank(facility: Facility, name: str, gas: str, plan: Plan) -> Bank:
    item = _item(facility, name)
    if not isinstance(item, Bank) or item.gas != gas:
        raise FactsError(f"Member {name!r} is no bank of {gas!r}. Name one.")
    if gas not in plan.gas:
        raise FactsError(f"The plan has no demand of {gas!r}. Known: {', '.join(plan.gas) or 'none at all'}.")
    return item


def _drawn(bank: Bank, demand: Number, end: Instant) -> Bank:
    """Take ``demand`` from the cylinders in order, and read them at ``end``.

    A cylinder that was never read stays unread; one without a passed analysis is
    not breathed from.
    """
    left = exact(demand)
    cylinders: list[Cylinder] = []
    for one in bank.cylinders:
        if one.usable is None or one.read_at is None:
            cylinders.append(one)
            continue
        usable = exact(one.usable)
        taken = min(left, usable) if one.analysis == "passed" else 0
        left -= taken
        cylinders.append(replace(one, usable=usable - taken, read_at=end))
    return replace(bank, cylinders=tuple(cylinders))


def _used(member: Member, lasted: int, end: Instant) -> Member:
    """Raise the counters of an item; open a check at the end."""
    if isinstance(member, Check):
        return replace(member, opened=(*member.opened, end))
    if isinstance(member, Bank):
        return member
    return replace(member, counters=tuple(_raised(one, lasted) for one in member.counters))


def _raised(counter: Counter, lasted: int) -> Counter:
    """Raise a counter by one run, in fractions so that a third of an hour is exact."""
    if counter.count is None:
        return counter
    per_run, per_hour = Fraction(counter.per_run), Fraction(counter.per_hour)
    return Counter(
        counter.name,
        count=Fraction(counter.count) + per_run + per_hour * lasted / 60,
        limit=Fraction(counter.limit),
        per_run=per_run,
        per_hour=per_hour,
    )
