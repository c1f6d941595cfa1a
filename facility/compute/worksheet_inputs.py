"""Short ways to declare the inputs of a worksheet."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING

from facility.compute.worksheet import Input, Kind

if TYPE_CHECKING:
    from facility.compute.worksheet import Json

Limits = tuple[str, str]  # lowest and highest; "" for none, ">0" for "more than 0"


def number(name: str, unit: str, example: Json, limits: Limits, about: str) -> Input:
    """Declare a number. ``unit`` "1" for a plain ratio or count."""
    low, high = limits
    return Input(
        name=name,
        kind=Kind.NUMBER,
        unit=unit,
        example=example,
        about=about,
        low=Decimal(low.removeprefix(">")) if low else None,
        high=Decimal(high) if high else None,
        low_open=low.startswith(">"),
    )


def whole(name: str, unit: str, example: Json, limits: Limits, about: str) -> Input:
    """Declare a whole number."""
    return replace(number(name, unit, example, limits, about), kind=Kind.WHOLE)


def numbers(name: str, unit: str, example: Json, limits: Limits, about: str) -> Input:
    """Declare a list of numbers, in order."""
    return replace(number(name, unit, example, limits, about), kind=Kind.NUMBERS)


def choice(name: str, choices: tuple[str, ...], example: Json, about: str) -> Input:
    """Declare one word out of several."""
    return Input(name=name, kind=Kind.CHOICE, choices=choices, example=example, about=about)


def yes_no(name: str, example: Json, about: str) -> Input:
    """Declare a question answered by true or false."""
    return Input(name=name, kind=Kind.YES_NO, example=example, about=about)


def day(name: str, example: Json, about: str) -> Input:
    """Declare a civil date."""
    return Input(name=name, kind=Kind.DATE, unit="YYYY-MM-DD", example=example, about=about)


def day_or_month(name: str, example: Json, about: str) -> Input:
    """Declare a civil date of which the day may be unknown."""
    return Input(name=name, kind=Kind.MONTH, unit="YYYY-MM-DD or YYYY-MM", example=example, about=about)


def text(name: str, example: Json, about: str) -> Input:
    """Declare a short text."""
    return Input(name=name, kind=Kind.TEXT, example=example, about=about)


def rows(name: str, columns: tuple[Input, ...], example: Json, about: str) -> Input:
    """Declare a table; each row is an object with the columns' names."""
    return Input(name=name, kind=Kind.ROWS, columns=columns, example=example, about=about)


def optional(one: Input) -> Input:
    """Return the same input, which may be left out."""
    return replace(one, optional=True)
