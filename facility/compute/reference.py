"""Sourced values: every regulatory, physical or physiological number with its unit, source and standing."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation
from enum import StrEnum
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

NEEDED = ("value", "unit", "meaning", "source", "where", "standing")


class Standing(StrEnum):
    """How far a number may be relied on."""

    RETRIEVED = "retrieved"
    MEMORY = "memory"
    SITE = "site"


class UnsourcedError(ValueError):
    """A reference file with a number that nobody could check."""


@dataclass(frozen=True, slots=True)
class Sourced:
    """One number (or list of numbers) with where it comes from."""

    name: str
    value: Any
    unit: str
    meaning: str
    source: str
    where: str
    standing: Standing
    #: where the number only stands for one of several choices: each choice in words
    choices: Mapping[Decimal, str] = field(default_factory=dict, hash=False)

    @property
    def confirmed(self) -> bool:
        """Whether it may be shown without the word "unconfirmed"."""
        return self.standing is not Standing.MEMORY

    @property
    def number(self) -> Decimal:
        """The value as an exact decimal.

        Errors: UnsourcedError if it is not one number.
        """
        try:
            return Decimal(str(self.value))
        except InvalidOperation:
            raise UnsourcedError(f"{self.name}: {self.value!r} is not one number.") from None


def parse(text: str, sources: Mapping[str, object]) -> dict[str, Sourced]:
    """Return the sourced values of one TOML text by dotted name.

    Errors: UnsourcedError naming the entry that lacks a field, or whose source or standing is unknown.

    >>> parse('[a.b]\\nvalue = 1\\nunit = "m"\\nmeaning = "x"\\nsource = "s"\\nwhere = "p"\\nstanding = "site"', {"s": 0})["a.b"].unit
    'm'
    """
    return {name: _sourced(name, entry, sources) for name, entry in _entries("", tomllib.loads(text))}


def _entries(prefix: str, table: Mapping[str, Any]) -> Iterator[tuple[str, Mapping[str, Any]]]:
    """Yield each table that holds a value, or neither a value nor tables, with its dotted name."""
    for key, entry in table.items():
        name = f"{prefix}{key}"
        if not isinstance(entry, dict):
            raise UnsourcedError(f"{name}: a bare value. Write it as a table with {', '.join(NEEDED)}.")
        if "value" in entry or not any(isinstance(part, dict) for part in entry.values()):
            yield name, entry
        else:
            yield from _entries(f"{name}.", entry)


def _sourced(name: str, entry: Mapping[str, Any], sources: Mapping[str, object]) -> Sourced:
    missing = [key for key in NEEDED if entry.get(key) in (None, "")]
    if missing:
        raise UnsourcedError(f"{name}: {', '.join(missing)} missing. Each number needs {', '.join(NEEDED)}.")
    if entry["source"] not in sources:
        raise UnsourcedError(f"{name}: source {entry['source']!r} is not in sources.toml.")
    if entry["standing"] not in list(Standing):
        raise UnsourcedError(f"{name}: standing {entry['standing']!r}; use one of {', '.join(Standing)}.")
    return Sourced(
        name,
        entry["value"],
        entry["unit"],
        entry["meaning"],
        entry["source"],
        entry["where"],
        Standing(entry["standing"]),
        _choices(name, entry),
    )


def _choices(name: str, entry: Mapping[str, Any]) -> dict[Decimal, str]:
    choices = {Decimal(number): words for number, words in entry.get("choices", {}).items()}
    if choices and Decimal(str(entry["value"])) not in choices:
        raise UnsourcedError(f"{name}: {entry['value']!r} is none of its choices.")
    return choices
