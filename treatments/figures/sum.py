"""One explained figure of a run: what went in, the formula, what came out, what it rests on, and the caution."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.utils.formats import number_format
from django.utils.translation import gettext

from facility.reference import sources

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import datetime
    from zoneinfo import ZoneInfo

    from facility.compute.reference import Sourced

NOTHING = "\u2013"


@dataclass(frozen=True, slots=True)
class Line:
    """A named value in words and figures, with its unit."""

    name: str
    value: str
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Grid:
    """Rows under a head; ``title`` says what they are."""

    title: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sum:
    """An explained figure. ``key``: its anchor; ``worksheet``: the name of the worksheet that does the same alone."""

    key: str
    title: str
    formula: str
    caution: str
    given: tuple[Line, ...] = ()
    results: tuple[Line, ...] = ()
    grids: tuple[Grid, ...] = ()
    rests_on: tuple[Sourced, ...] = ()
    remarks: tuple[str, ...] = ()
    worksheet: str = ""

    @property
    def values(self) -> tuple[tuple[str, str, str, str, bool], ...]:
        """What it rests on: value, unit, meaning, source, and whether it is confirmed."""
        return tuple(
            (
                said_value(one),
                "" if one.unit == "text" else one.unit,
                one.meaning,
                f"{_title(one.source)}, {one.where}",
                one.confirmed,
            )
            for one in self.rests_on
        )

    @property
    def unconfirmed(self) -> bool:
        """Whether it rests on a value from memory."""
        return any(not one.confirmed for one in self.rests_on)


def said_value(one: Sourced) -> str:
    """Return a sourced value as text; a list as its items."""
    if isinstance(one.value, list):
        return "; ".join(" ".join(map(str, item)) if isinstance(item, list) else str(item) for item in one.value)
    return str(one.value)


def _title(source: str) -> str:
    return str(sources()[source]["title"])


def figure(value: float | None, places: int = 2) -> str:
    """Return a number with at most so many decimals, the mark of the reader's language, without trailing zeros."""
    if value is None:
        return gettext("not stated; ask the physician")
    rounded = round(value, places)
    if rounded == int(rounded):
        return str(number_format(int(rounded), use_l10n=True, force_grouping=False))
    text = f"{rounded:.{places}f}".rstrip("0")
    return str(number_format(text, decimal_pos=len(text.partition(".")[2]), use_l10n=True))


def clock(at: datetime | None, zone: ZoneInfo) -> str:
    """Return an instant as 28 Mar 2026 14:13:00 with the offset of that day, in the zone of the site."""
    if at is None:
        return NOTHING
    there = at.astimezone(zone)
    month = (
        gettext("Jan"), gettext("Feb"), gettext("Mar"), gettext("Apr"), gettext("May"), gettext("Jun"),
        gettext("Jul"), gettext("Aug"), gettext("Sep"), gettext("Oct"), gettext("Nov"), gettext("Dec"),
    )[there.month - 1]  # fmt: skip
    offset = there.strftime("%z")
    return f"{there.day} {month} {there.year} {there:%H:%M:%S} {offset[:3]}:{offset[3:]}"


def elapsed(minutes: float) -> str:
    """Return minutes from leaving the surface as 1:23:10.

    >>> elapsed(83 + 1 / 6)
    '1:23:10'
    """
    seconds = round(abs(minutes) * 60)
    sign = "\u2212" if minutes < 0 and seconds else ""
    return f"{sign}{seconds // 3600}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"


def grid(title: str, head: Sequence[str], rows: Iterable[Sequence[str]]) -> tuple[Grid, ...]:
    """Return a grid, or nothing where there are no rows."""
    kept = tuple(tuple(row) for row in rows)
    return (Grid(title, tuple(head), kept),) if kept else ()
