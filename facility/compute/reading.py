"""Reading JSON values into plain types, with the place of a fault in each refusal."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from datetime import date
from decimal import Decimal
from typing import Any, TypeAlias

from facility.compute.facts import DueDate, Number, exact
from facility.compute.instants import (
    INSTANT_ADVICE,
    FactsError,
    Instant,
    parse_instant,
)

Reader: TypeAlias = Callable[[Any, str], Any]
REQUIRED = object()
LAST_YEAR = 9000
MOST_SHOWN = 80
DATE_SHAPE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}\Z")
MOST_MINUTES = 366 * 24 * 60
SMALLEST = Decimal("1e-12")


def refuse(place: str, value: object, allowed: str) -> FactsError:
    """Make the refusal of one value: where, what was given, what is allowed."""
    shown = repr(value)
    if len(shown) > MOST_SHOWN:
        shown = f"{shown[:MOST_SHOWN]}..."
    return FactsError(f"{place}: {shown} is refused. {allowed}.")


def text(value: Any, place: str) -> str:
    """Read a non-empty text."""
    if not isinstance(value, str) or not value:
        raise refuse(place, value, "Give a non-empty text")
    return value


def boolean(value: Any, place: str) -> bool:
    """Read true or false."""
    if not isinstance(value, bool):
        raise refuse(place, value, "Give true or false")
    return value


def whole(lowest: int, highest: int = MOST_MINUTES) -> Reader:
    """Make a reader of whole numbers between two bounds, both allowed."""

    def read(value: Any, place: str) -> int:
        if isinstance(value, float | Decimal) and math.isfinite(value) and value == int(value):
            value = int(value)
        if isinstance(value, bool) or not isinstance(value, int):
            raise refuse(place, value, "Give a whole number")
        if not lowest <= value <= highest:
            raise refuse(place, value, f"Give a number from {lowest} to {highest}")
        return value

    return read


def amount(value: Any, place: str) -> Number:
    """Read a finite number that is not negative, exactly as it was written."""
    if isinstance(value, float):
        value = Decimal(repr(value))
    if isinstance(value, bool) or not isinstance(value, int | Decimal):
        raise refuse(place, value, "Give a number")
    if isinstance(value, Decimal) and not value.is_finite():
        raise refuse(place, value, "Give a finite number")
    if not 0 <= value <= 10**12 or 0 < value < SMALLEST:
        raise refuse(place, value, "Give a number from 0 to 1e12")
    return exact(value)


def instant(value: Any, place: str) -> Instant:
    """Read an instant ``YYYY-MM-DDTHH:MMZ``."""
    if not isinstance(value, str):
        raise refuse(place, value, INSTANT_ADVICE)
    try:
        return parse_instant(value)
    except FactsError as error:
        raise FactsError(f"{place}: {error}") from error


def due(value: Any, place: str) -> Instant | DueDate:
    """Read an instant, or ``{"date": "YYYY-MM-DD", "window_days": n}``."""
    if not isinstance(value, Mapping):
        return instant(value, place)
    found: DueDate = DUE_DATE(value, place)
    return found


def civil_date(value: Any, place: str) -> date:
    """Read a date ``YYYY-MM-DD``."""
    try:
        day = date.fromisoformat(value) if DATE_SHAPE.match(value) else None
    except (TypeError, ValueError):
        day = None
    if day is None or day.year > LAST_YEAR:
        raise refuse(place, value, f"Write a date YYYY-MM-DD, up to year {LAST_YEAR}")
    return day


def optional(reader: Reader) -> Reader:
    """Make a reader that lets null through."""
    return lambda value, place: None if value is None else reader(value, place)


def one_of(*words: str) -> Reader:
    """Make a reader of one word out of a few."""

    def read(value: Any, place: str) -> str:
        if not isinstance(value, str) or value not in words:
            allowed = ", ".join(repr(word) for word in words)
            raise refuse(place, value, f"Allowed: {allowed}")
        return value

    return read


def listed(reader: Reader) -> Reader:
    """Make a reader of a list of one kind of value."""

    def read(value: Any, place: str) -> tuple[Any, ...]:
        if not isinstance(value, list | tuple):
            raise refuse(place, value, "Give a list")
        return tuple(reader(item, f"{place}[{i}]") for i, item in enumerate(value))

    return read


def named(reader: Reader) -> Reader:
    """Make a reader of an object from ids to one kind of value."""

    def read(value: Any, place: str) -> dict[str, Any]:
        if not isinstance(value, Mapping):
            raise refuse(place, value, "Give an object of ids and their values")
        return {text(key, f"{place} (id)"): reader(item, f"{place}.{key}") for key, item in value.items()}

    return read


def record(kind: Callable[..., Any], **fields: tuple[Any, ...]) -> Reader:
    """Make a reader of an object with known keys: ``key=(reader[, default])``.

    A key that is a Python word is given with a trailing underscore.
    """
    keys = {name.rstrip("_"): (name, *spec) for name, spec in fields.items()}
    needed = [name.rstrip("_") for name, spec in fields.items() if len(spec) == 1]

    def read(value: Any, place: str) -> Any:
        if not isinstance(value, Mapping):
            raise refuse(place, value, f"Give an object with {', '.join(keys)}")
        unknown = [key for key in value if key not in keys]
        if unknown:
            raise refuse(place, unknown[0], f"Unknown key. Allowed: {', '.join(keys)}")
        missing = [key for key in needed if key not in value]
        if missing:
            raise FactsError(f"{place}: {missing[0]!r} is missing. Give it.")
        return kind(
            **{name: spec[0](value[key], f"{place}.{key}") for key, (name, *spec) in keys.items() if key in value}
        )

    return read


DUE_DATE = record(DueDate, date=(civil_date,), window_days=(whole(0, 3660), 0))
