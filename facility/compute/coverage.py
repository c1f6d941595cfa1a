"""In which hours each plan has a lawful crew by the roster, and what a swap of duty would do to that."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from facility.compute.facts import CREW, Facility, Person, Span
from facility.compute.horizons import signal_of
from facility.compute.instants import MINUTES_PER_DAY, FactsError, Instant
from facility.compute.outlook import Outlook
from facility.compute.states import BAD, GOOD, LIMITED

if TYPE_CHECKING:
    from collections.abc import Iterable


@dataclass(frozen=True, slots=True)
class Stretch:
    """Starts from ``begin`` until ``until`` (not included) are crewed alike. ``level``: good, limited, unknown or bad."""

    begin: Instant
    until: Instant
    level: int

    @property
    def crewed(self) -> bool:
        """Whether a run that starts in it has its crew to the end."""
        return self.level in (GOOD, LIMITED)


def coverage(facility: Facility, at: Instant, days: int) -> dict[str, list[Stretch]]:
    """Return for each plan with roles how starts within [at, at + days x 24 h) are crewed, to the end of the run."""
    outlook = Outlook(facility, at, settled=True)
    end = at + days * MINUTES_PER_DAY
    return {name: _stretches(outlook, name, end) for name, plan in facility.plans.items() if plan.roles}


def _stretches(outlook: Outlook, plan: str, end: Instant) -> list[Stretch]:
    signal = signal_of(outlook, outlook.run(plan), CREW)
    found: list[Stretch] = []
    start = outlook.at
    while start < end:
        level = signal.level(start)
        worse = end if level == BAD else signal.until_worse(start, level)
        better = end if level == GOOD else signal.until_within(start, level - 1)
        until = min(worse, better, end)
        if found and found[-1].level == level:
            found[-1] = replace(found[-1], until=until)
        else:
            found.append(Stretch(start, until, level))
        start = until
    return found


def crewed_min(stretches: Iterable[Stretch]) -> int:
    """Return the minutes within which a start is crewed."""
    return sum(one.until - one.begin for one in stretches if one.crewed)


def swapped(facility: Facility, span: Span, giver: str, taker: str) -> Facility:
    """Return the facility in which ``taker`` is on duty through ``span`` in the place of ``giver``.

    Errors: FactsError if one of the two is not among the people.
    """
    for name in (giver, taker):
        if name not in facility.people:
            raise FactsError(f"No person {name!r} in the facts. Known: {', '.join(facility.people) or 'none at all'}.")
    people = dict(facility.people)
    people[giver] = replace(people[giver], duty=_without(people[giver], span))
    people[taker] = replace(people[taker], duty=(*people[taker].duty, span))
    return replace(facility, people=people)


def _without(person: Person, span: Span) -> tuple[Span, ...]:
    """Return a person's duty less a span."""
    left: list[Span] = []
    for one in person.duty:
        if one.until <= span.from_ or one.from_ >= span.until:
            left.append(one)
            continue
        if one.from_ < span.from_:
            left.append(Span(one.from_, span.from_))
        if one.until > span.until:
            left.append(Span(span.until, one.until))
    return tuple(left)
