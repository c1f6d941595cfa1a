"""What a worksheet is: one computation with its inputs, formula, source and caution.

Worksheets are read by ``manage.py calc`` and by the pages under "worksheets/". Texts are
plain and are translated where they are shown.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from enum import StrEnum
from typing import TYPE_CHECKING, cast

if TYPE_CHECKING:
    from facility.compute.reference import Sourced

Json = object  # what JSON can hold; numbers are decimals as typed
LONGEST_SHOWN = 60


class Kind(StrEnum):
    """What an input holds."""

    NUMBER = "number"
    WHOLE = "whole number"
    TEXT = "text"
    CHOICE = "choice"
    YES_NO = "yes or no"
    DATE = "date"
    MONTH = "date or month"
    NUMBERS = "numbers"
    ROWS = "rows"


class InputError(ValueError):
    """A value that an input does not take: names the input, the value and what is allowed."""

    def __init__(self, name: str, value: object, allowed: str, unit: str = "") -> None:
        """Keep the three parts, and make one sentence of them; ``reason`` is the sentence without the name."""
        self.name, self.value, self.allowed = name, value, allowed
        typed = f"{_short(value)} {unit if unit != '1' else ''}".rstrip()
        shown = "missing" if value is None else f"{typed} is not taken"
        self.reason = f"{shown}. Allowed: {allowed}."
        super().__init__(f"{name}: {self.reason}")


@dataclass(frozen=True, slots=True)
class PartDate:
    """A civil date, or a month of which only year and month are known (``on`` is then its last day)."""

    on: date
    month_only: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Input:
    """One input: its name, unit ("" where it has none), an example, and what is allowed."""

    name: str
    kind: Kind
    example: Json
    unit: str = ""
    about: str = ""
    low: Decimal | None = None
    high: Decimal | None = None
    low_open: bool = False
    choices: tuple[str, ...] = ()
    columns: tuple[Input, ...] = ()
    optional: bool = False

    @property
    def allowed(self) -> str:
        """Say what this input takes, in words."""
        text = self._words()
        return f"{text}; may be left out" if self.optional else text

    def _words(self) -> str:
        match self.kind:
            case Kind.CHOICE:
                return "one of " + ", ".join(self.choices)
            case Kind.YES_NO:
                return "true or false"
            case Kind.DATE:
                return "a date, YYYY-MM-DD"
            case Kind.MONTH:
                return "a date, YYYY-MM-DD, or a month, YYYY-MM"
            case Kind.TEXT:
                return "text, up to 200 characters"
            case Kind.ROWS:
                return "a list of rows with " + ", ".join(column.name for column in self.columns)
            case Kind.NUMBERS:
                return f"a list of numbers, each {self._range()}"
            case _:
                return f"a {self.kind}, {self._range()}"

    def _range(self) -> str:
        low = ("more than " if self.low_open else "") + f"{self.low}"
        words = {
            (True, True): f"{low}{', up' if self.low_open else ''} to {self.high}",
            (True, False): low if self.low_open else f"{low} or more",
            (False, True): f"{self.high} or less",
            (False, False): "of any size",
        }[self.low is not None, self.high is not None]
        return f"{words} {self.unit}".rstrip() if self.unit != "1" else words


@dataclass(frozen=True, slots=True)
class Output:
    """One result: its name, unit and what it means."""

    name: str
    unit: str
    about: str = ""


@dataclass(frozen=True, slots=True)
class Given:
    """The inputs after reading; each getter gives the type of its kind."""

    values: Mapping[str, object] = field(default_factory=dict)

    def number(self, name: str) -> Decimal:
        """Return a number as typed."""
        return cast("Decimal", self.values[name])

    def real(self, name: str) -> float:
        """Return a number for computation."""
        return float(self.number(name))

    def whole(self, name: str) -> int:
        """Return a whole number."""
        return int(self.number(name))

    def maybe(self, name: str) -> Decimal | None:
        """Return a number, or None where it was left out."""
        return cast("Decimal | None", self.values[name])

    def text(self, name: str) -> str:
        """Return a text or choice, empty where it was left out."""
        return cast("str | None", self.values[name]) or ""

    def yes(self, name: str) -> bool:
        """Return a yes (True) or no; left out counts as no."""
        return bool(self.values[name])

    def day(self, name: str) -> date:
        """Return a date."""
        return cast("date", self.values[name])

    def maybe_day(self, name: str) -> date | None:
        """Return a date, or None where it was left out."""
        return cast("date | None", self.values[name])

    def month(self, name: str) -> PartDate:
        """Return a date or month."""
        return cast("PartDate", self.values[name])

    def numbers(self, name: str) -> tuple[Decimal, ...]:
        """Return a list of numbers, empty where it was left out."""
        return cast("tuple[Decimal, ...] | None", self.values[name]) or ()

    def rows(self, name: str) -> tuple[Given, ...]:
        """Return the rows of a table, none where it was left out."""
        return cast("tuple[Given, ...] | None", self.values[name]) or ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Worksheet:
    """One computation that can be used by itself.

    ``compute`` gets the read inputs and returns a value for each output; it raises
    InputError, or another ValueError whose text names what was refused.
    """

    name: str
    title: str
    inputs: tuple[Input, ...]
    outputs: tuple[Output, ...]
    source: str
    formula: str
    caution: str
    compute: Callable[[Given], dict[str, object]]
    rests_on: tuple[Sourced, ...] = ()
    from_memory: bool = False

    @property
    def standing(self) -> str:
        """Say "memory" where the formula or any number behind it is from memory, else "retrieved"."""
        memory = self.from_memory or any(not value.confirmed for value in self.rests_on)
        return "memory" if memory else "retrieved"

    @property
    def examples(self) -> dict[str, Json]:
        """Return the worksheet's own examples, which it takes as they are."""
        return {one.name: one.example for one in self.inputs}


def _short(value: object) -> str:
    text = str(value)
    cut = text if len(text) <= LONGEST_SHOWN else text[: LONGEST_SHOWN - 3] + "..."
    return repr(cut) if isinstance(value, str) else cut
