"""A worksheet's results as rows for the page."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.utils.text import capfirst
from django.utils.translation import gettext as _

from facility.reference import sources

if TYPE_CHECKING:
    from collections.abc import Mapping

    from facility.compute.worksheet import Worksheet


@dataclass(frozen=True, slots=True)
class Line:
    """One result: its name, value in words, unit, meaning; lists of lines or rows in ``items`` or ``table``."""

    name: str
    value: str
    unit: str
    about: str
    items: tuple[str, ...] = ()
    head: tuple[str, ...] = ()
    table: tuple[tuple[str, ...], ...] = ()


def lines(worksheet: Worksheet, found: Mapping[str, object], given: Mapping[str, object]) -> list[Line]:
    """Return the results in order; a unit that is an input's name is shown as what was chosen there."""
    return [
        _line(one.name, found[one.name], _unit(one.unit, given), _(one.about) if one.about else "")
        for one in worksheet.outputs
    ]


def _line(name: str, value: object, unit: str, about: str) -> Line:
    label, unit = capfirst(name.replace("_", " ")), shown_unit(unit)
    if isinstance(value, list) and value and isinstance(value[0], dict):
        head = tuple(capfirst(key.replace("_", " ")) for key in value[0])
        table = tuple(tuple(words(part) for part in row.values()) for row in value)
        return Line(label, "", unit, about, head=head, table=table)
    if isinstance(value, list):
        return Line(label, "" if value else _("none"), unit, about, items=tuple(words(part) for part in value))
    return Line(label, words(value), "" if value is None else unit, about)


def words(value: object) -> str:
    """Return one plain value in words; numbers with six significant digits."""
    if value is None:
        return _("none")
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    if isinstance(value, list):
        return ", ".join(words(part) for part in value) or _("none")
    return f"{value:.6g}" if isinstance(value, float) else str(value)


def shown_unit(text: str) -> str:
    """Return a unit, or a text with one in it, as people write it.

    >>> shown_unit("a number, -5 to 55 degC"), shown_unit("m3/h")
    ('a number, -5 to 55 °C', 'm³/h')
    """
    return text.replace("degC", "°C").replace("m3", "m³")


def _unit(unit: str, given: Mapping[str, object]) -> str:
    if unit == "1":
        return ""
    of, apart, per = unit.partition("/")
    chosen = given.get(of)
    return f"{chosen}{apart}{per}" if isinstance(chosen, str) and chosen else unit


@dataclass(frozen=True, slots=True)
class Value:
    """One sourced value in words."""

    value: str
    unit: str
    meaning: str
    source: str
    confirmed: bool


def sourced(worksheet: Worksheet) -> list[Value]:
    """Return the values a worksheet rests on, each with the title of its source."""
    titles = sources()
    return [
        Value(
            _flat(one.value),
            "" if one.unit == "1" else shown_unit(one.unit),
            one.meaning,
            f"{titles[one.source]['title']}, {one.where}",
            one.confirmed,
        )
        for one in worksheet.rests_on
    ]


def _flat(value: object) -> str:
    """Return a value or list of values in one line, rows apart by semicolons."""
    if not isinstance(value, list):
        return str(value)
    apart = "; " if value and isinstance(value[0], list) else ", "
    return apart.join(_flat(part) for part in value)
