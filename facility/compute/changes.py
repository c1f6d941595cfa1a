"""The changes that a what-if may make, and how they are read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, TypeAlias

from facility.compute.facts import DueDate
from facility.compute.facts_json import read_json
from facility.compute.instants import Instant
from facility.compute.reading import (
    Reader,
    due,
    instant,
    listed,
    named,
    one_of,
    record,
    refuse,
    text,
    whole,
)


@dataclass(frozen=True, slots=True)
class WithoutPerson:
    """The facility without one person."""

    person: str


@dataclass(frozen=True, slots=True)
class OutOfService:
    """One item or bank out of service from the instant asked for, without end."""

    member: str


@dataclass(frozen=True, slots=True)
class Late:
    """Every absence of the item that is not over yet ends so many days later."""

    member: str
    days: int


@dataclass(frozen=True, slots=True)
class Done:
    """What is due is done: its new due instant or date."""

    member: str
    due: str
    until: Instant | DueDate


@dataclass(frozen=True, slots=True)
class AfterRun:
    """After a run of ``plan`` from ``start``: gas by bank, and who was inside."""

    plan: str
    start: Instant
    banks: dict[str, str] = field(default_factory=dict)
    inside: tuple[str, ...] = ()


Change: TypeAlias = WithoutPerson | OutOfService | Late | Done | AfterRun

READERS: dict[str, Reader] = {
    "without person": record(WithoutPerson, person=(text,)),
    "out of service": record(OutOfService, member=(text,)),
    "late": record(Late, member=(text,), days=(whole(0, 3660),)),
    "done": record(Done, member=(text,), due=(text,), until=(due,)),
    "after run": record(
        AfterRun,
        plan=(text,),
        start=(instant,),
        banks=(named(text), {}),
        inside=(listed(text), ()),
    ),
}


def load_changes(content: str) -> tuple[Change, ...]:
    """Read a list of changes from the text of a JSON file (one alone may stand bare).

    Errors: FactsError naming the place, the value and what is allowed.
    """
    return changes_of(read_json(content))


def changes_of(value: Any) -> tuple[Change, ...]:
    """Read changes from parsed JSON."""
    if isinstance(value, Mapping):
        value = [value]
    changes: tuple[Change, ...] = listed(_change)(value, "changes")
    return changes


def _change(value: Any, place: str) -> Change:
    if not isinstance(value, Mapping) or "op" not in value:
        raise refuse(place, value, "Give an object with an op")
    op = one_of(*READERS)(value["op"], f"{place}.op")
    rest = {key: item for key, item in value.items() if key != "op"}
    change: Change = READERS[op](rest, place)
    return change
