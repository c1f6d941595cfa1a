"""What a day's look finds: things due soon, past their day, never recorded, and plans that will not be ready.

A flag stands while its state lasts. It is new when the state begins, or when another day takes the old one's place.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from typing import TYPE_CHECKING

from facility.compute.horizons import signals_of
from facility.compute.outlook import Outlook
from facility.compute.states import BAD, UNKNOWN

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from facility.compute.facts import Facility
    from facility.compute.instants import Instant


class Sort(StrEnum):
    """Sorts of things that a flag may stand at."""

    RULE = "rule"
    LIFE = "service life"
    QUALIFICATION = "qualification"
    MEDICAL = "medical"
    CONTACT = "contact"
    PLAN = "plan"


class FlagState(StrEnum):
    """Why a flag stands."""

    DUE_SOON = "due soon"
    OVERDUE = "overdue"
    LAPSED = "lapsed"
    NEVER = "never recorded"
    AHEAD = "not ready ahead"


#: what is done again falls overdue; what a person or a thing has lapses
LAPSING = frozenset({Sort.LIFE, Sort.QUALIFICATION, Sort.MEDICAL})


@dataclass(frozen=True, slots=True)
class Thing:
    """Something good through a civil day. ``name`` is what it is called, ``pk`` the number of its row.

    ``last_good`` None: nothing is on record that it could be reckoned from. ``window_days`` more days keep it good.
    """

    key: str
    sort: Sort
    name: str
    pk: int
    last_good: date | None
    window_days: int = 0

    @property
    def good_through(self) -> date | None:
        """The last day on which it counts."""
        return None if self.last_good is None else later(self.last_good, self.window_days)


@dataclass(frozen=True, slots=True)
class Flag:
    """A state of one thing. ``last_good`` is the day it turns on; none where no day is known or it moves daily."""

    key: str
    state: FlagState
    last_good: date | None
    sort: Sort
    name: str
    pk: int
    note: str = ""

    @property
    def identity(self) -> tuple[str, FlagState, date | None]:
        """What makes it the same flag as yesterday's."""
        return self.key, self.state, self.last_good


@dataclass(frozen=True, slots=True)
class Ahead:
    """A plan that some need will stop: the first start from which it does."""

    plan: str
    need: str
    from_: Instant


@dataclass(frozen=True, slots=True)
class News:
    """What differs from the flags that stood: those to raise, how many stand then, and those that are over."""

    new: tuple[Flag, ...]
    standing: int
    over: frozenset[tuple[str, FlagState, date | None]]


def later(day: date, days: int) -> date:
    """Return a day so many days later; at the end of the calendar its last day.

    >>> later(date(2026, 2, 28), 1), later(date.max, 1) == date.max
    (datetime.date(2026, 3, 1), True)
    """
    return date.max if (date.max - day).days < days else day + timedelta(days=days)


def flag_of(thing: Thing, today: date, soon_days: int) -> Flag | None:
    """Return the flag that a thing deserves today; none while its day is further than ``soon_days`` away.

    A thing is good through its last good day, so it is overdue from the day after.
    """
    through = thing.good_through
    if thing.last_good is None or through is None:
        state = FlagState.NEVER
    elif through < today:
        state = FlagState.LAPSED if thing.sort in LAPSING else FlagState.OVERDUE
    elif (thing.last_good - today).days <= soon_days:
        state = FlagState.DUE_SOON
    else:
        return None
    return Flag(thing.key, state, through, thing.sort, thing.name, thing.pk)


def flags_of(things: Iterable[Thing], today: date, soon_days: int) -> Iterator[Flag]:
    """Yield the flags of some things."""
    for thing in things:
        flag = flag_of(thing, today, soon_days)
        if flag is not None:
            yield flag


def ahead_of(facility: Facility, at: Instant, lead_min: int) -> Iterator[Ahead]:
    """Yield each need that does not stop a plan now but will stop a start within the lead time.

    Ages and content stay as judged at ``at``: the routine is assumed done. Units: minutes.
    """
    outlook = Outlook(facility, at, settled=True)
    for plan in facility.plans:
        for need, signal in signals_of(outlook, outlook.run(plan)).items():
            if signal.level(at) == BAD:
                continue
            stops = signal.until_worse(at, UNKNOWN)
            if stops <= at + lead_min:
                yield Ahead(plan, need, stops)


def news(standing: Iterable[tuple[str, FlagState, date | None]], found: Iterable[Flag]) -> News:
    """Compare what is found today with the flags that stand. A thing named twice counts once."""
    today = {flag.identity: flag for flag in found}
    before = frozenset(standing)
    return News(
        tuple(flag for identity, flag in today.items() if identity not in before), len(today), before - today.keys()
    )
