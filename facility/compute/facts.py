"""The plain values that readiness is computed from.

Units: every ``Instant`` is whole minutes since 1970-01-01T00:00Z, every ``*_min``
and part is minutes, amounts of gas are in any one unit per gas. Spans count their
``from_`` and not their ``until``. A trailing underscore keeps clear of a Python word;
in JSON the key is written without it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Literal, TypeAlias

from facility.compute.instants import FactsError, Instant

__all__ = ["FactsError", "Instant"]

Number: TypeAlias = int | Fraction
"""An amount or a count; exact, so that equal is enough and stays equal."""


def exact(value: int | Decimal | Fraction) -> Number:
    """Hold a decimal as it was written, without rounding.

    Errors: ValueError or OverflowError if it is not finite.

    >>> exact(Decimal("0.1")) + exact(Decimal("0.2")) == exact(Decimal("0.3"))
    True
    """
    fraction = Fraction(value)
    return int(fraction) if fraction.denominator == 1 else fraction


CREW = "crew"


@dataclass(frozen=True, slots=True)
class DueDate:
    """A civil date in the facility's zone: good through that day and the window."""

    date: date
    window_days: int = 0


@dataclass(frozen=True, slots=True)
class Due:
    """One interval of an item. ``until`` None: never recorded."""

    name: str
    until: Instant | DueDate | None
    from_: Instant | None = None


@dataclass(frozen=True, slots=True)
class Result:
    """One result of a reading or test of an item."""

    at: Instant
    result: Literal["passed", "failed", "could not read"]


@dataclass(frozen=True, slots=True)
class Defect:
    """A defect or shut-down. ``until`` None: not returned. ``plans`` None: all."""

    from_: Instant
    until: Instant | None = None
    effect: Literal["out", "restricted"] = "out"
    plans: tuple[str, ...] | None = None


@dataclass(frozen=True, slots=True)
class Counter:
    """A life limit in cycles or hours. ``count`` None: never read."""

    name: str
    count: Number | None
    limit: Number
    per_run: Number = 0
    per_hour: Number = 0


@dataclass(frozen=True, slots=True)
class Equipment:
    """An item of equipment or an analysis."""

    due: tuple[Due, ...] = ()
    results: tuple[Result, ...] = ()
    defects: tuple[Defect, ...] = ()
    counters: tuple[Counter, ...] = ()


@dataclass(frozen=True, slots=True)
class Cylinder:
    """One cylinder of a bank: usable content above what must stay in it."""

    id: str
    usable: Number | None = None
    read_at: Instant | None = None
    analysis: Literal["passed", "failed"] | None = None


@dataclass(frozen=True, slots=True)
class Bank:
    """A gas bank."""

    gas: str
    cylinders: tuple[Cylinder, ...] = ()
    due: tuple[Due, ...] = ()
    defects: tuple[Defect, ...] = ()


@dataclass(frozen=True, slots=True)
class SignedCheck:
    """One signed check sheet."""

    signed_at: Instant
    result: Literal["passed", "limits", "failed"]


@dataclass(frozen=True, slots=True)
class Check:
    """A check, with the instants at which the chamber was opened for work."""

    checks: tuple[SignedCheck, ...] = ()
    opened: tuple[Instant, ...] = ()


Member: TypeAlias = Equipment | Bank | Check


@dataclass(frozen=True, slots=True)
class Held:
    """A qualification or medical over a span. ``until`` None: no end."""

    from_: Instant
    until: Instant | None = None
    second_look: bool = False


@dataclass(frozen=True, slots=True)
class Span:
    """Duty, a wait after pressure, or a restriction."""

    from_: Instant
    until: Instant


@dataclass(frozen=True, slots=True)
class Person:
    """What is on record of one person."""

    qualifications: dict[str, tuple[Held, ...]] = field(default_factory=dict)
    medical: tuple[Held, ...] = ()
    duty: tuple[Span, ...] = ()
    waits: tuple[Span, ...] = ()
    restricted: tuple[Span, ...] = ()


@dataclass(frozen=True, slots=True)
class Need:
    """Something a run rests on: at least ``k`` of ``members``. ``to`` None: D."""

    k: int
    members: tuple[str, ...]
    from_: int = 0
    to: int | None = None
    effect: Literal["stops", "limits"] = "stops"
    waivable: bool = True
    gas: str | None = None


@dataclass(frozen=True, slots=True)
class Extension:
    """An extension of the table: its minutes, and how many are allowed for."""

    minutes: int
    allowed: int


@dataclass(frozen=True, slots=True)
class Role:
    """A role in the crew: ``count`` places, each another person."""

    role: str
    qualifications: tuple[str, ...]
    medical: bool
    count: int = 1
    from_: int = 0
    to: int | None = None


@dataclass(frozen=True, slots=True)
class GasDemand:
    """What a run takes of one gas, and what must be left."""

    demand: Number
    reserve: Number = 0


@dataclass(frozen=True, slots=True)
class Plan:
    """What a run would demand: a treatment table with a party."""

    table_min: int
    margin_min: int
    needs: tuple[str, ...]
    extensions: tuple[Extension, ...] = ()
    roles: tuple[Role, ...] = ()
    gas: dict[str, GasDemand] = field(default_factory=dict)
    crew_waivable: bool = True
    wait_min: int = 0

    @property
    def duration_min(self) -> int:
        """D: table, every extension allowed for, and the house's margin (minutes)."""
        extra = sum(item.minutes * item.allowed for item in self.extensions)
        return self.table_min + extra + self.margin_min


@dataclass(frozen=True, slots=True)
class Waiver:
    """A dated, bounded decision to run although ``need`` is not met.

    ``accepts``: how many members are enough (0: do without). A crew waiver
    (``need`` is "crew") names instead the roles it does ``without``.
    """

    need: str
    from_: Instant
    until: Instant
    plans: tuple[str, ...] | None = None
    to_end_of_run: bool = False
    accepts: int = 0
    without: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class AgeLimits:
    """How old a bank's reading and a check may be at the start (minutes)."""

    bank: int | None = None
    check: int = 24 * 60


@dataclass(frozen=True, slots=True)
class Facility:
    """All that readiness is computed from."""

    zone: str
    roster_until: Instant | None = None
    age_limit_min: AgeLimits = field(default_factory=AgeLimits)
    members: dict[str, Member] = field(default_factory=dict)
    people: dict[str, Person] = field(default_factory=dict)
    needs: dict[str, Need] = field(default_factory=dict)
    plans: dict[str, Plan] = field(default_factory=dict)
    waivers: tuple[Waiver, ...] = ()
