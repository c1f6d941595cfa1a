"""Stored texts that hold many values or lines, told in rows of words; the instants in them by the clock of the site.

Nothing stored is changed: the exact text stays with its event.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from datetime import MAXYEAR, MINYEAR, datetime
from typing import TYPE_CHECKING, Any

from django.utils.text import capfirst
from django.utils.translation import gettext as _

from facility.counted import counted
from facility.fields import day_text
from facility.shown import NOTHING

if TYPE_CHECKING:
    from collections.abc import Iterator
    from zoneinfo import ZoneInfo

INTO = ", "
MOST_ROWS = 150
#: nothing of this box lies deeper; what somebody typed may
DEEPEST = 20
INSTANT = re.compile(r"\b\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}(?::\d{2}(?:\.\d{1,6})?)?(?:Z|[+-]\d{2}:\d{2})(?!\d)")


@dataclass(frozen=True, slots=True)
class Row:
    """One of many values: where it stands in words, before and after."""

    where: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class Told:
    """A stored text before and after. ``rows``: if it holds many values, at most MOST_ROWS of those that differ.

    ``old_lines``, ``lines``: both sides, if one is of more than one line. ``more``: rows left out.
    """

    before: str
    after: str
    rows: tuple[Row, ...] = ()
    old_lines: tuple[str, ...] = ()
    lines: tuple[str, ...] = ()
    more: int = 0

    @property
    def is_new(self) -> bool:
        """Whether there was nothing before."""
        return self.before == NOTHING

    @property
    def folded(self) -> bool:
        """Whether there is more of it than stands in one line."""
        return bool(self.rows or self.old_lines or self.lines)


def local_text(at: datetime, zone: ZoneInfo) -> str:
    """Return an instant by the clock of a zone, with its offset.

    >>> from zoneinfo import ZoneInfo
    >>> local_text(datetime.fromisoformat("2026-11-13T19:14:36Z"), ZoneInfo("Europe/Oslo"))
    '13 Nov 2026 20:14:36 +01:00'
    """
    there = at.astimezone(zone)
    clock = f"{there:%H:%M:%S}" if there.second else f"{there:%H:%M}"
    return f"{day_text(there)} {clock} {offset_text(there)}"


def offset_text(there: datetime) -> str:
    """Return the offset of an aware time: +01:00."""
    offset = f"{there:%z}"
    return f"{offset[:3]}:{offset[3:5]}"


def with_local(text: str, zone: ZoneInfo) -> str:
    """Return a text with the time of a zone beside each instant that another offset is written with.

    >>> from zoneinfo import ZoneInfo
    >>> with_local("Ready, until 2026-07-01T22:30Z", ZoneInfo("Europe/Oslo"))
    'Ready, until 2026-07-01T22:30Z (2 Jul 2026 00:30 +02:00)'
    """
    return INSTANT.sub(lambda found: _beside(found[0], zone), text)


def _beside(written: str, zone: ZoneInfo) -> str:
    at = _instant(written)
    if at is None or at.utcoffset() == at.astimezone(zone).utcoffset():
        return written
    return f"{written} ({local_text(at, zone)})"


def _instant(written: str) -> datetime | None:
    try:
        at = datetime.fromisoformat(written)
    except ValueError:
        return None
    return at if MINYEAR < at.year < MAXYEAR else None  # every zone can write it


def told(before: str, after: str, zone: ZoneInfo) -> Told:
    """Return two stored texts as a page tells them."""
    old, new = _many(before), _many(after)
    if old is None and new is None:
        if "\n" in before.strip() or "\n" in after.strip():
            old_lines, lines = (tuple(with_local(text, zone).splitlines()) for text in (before, after))
            return Told(_first(before, zone), _first(after, zone), old_lines=old_lines, lines=lines)
        return Told(_one(before, zone), _one(after, zone))
    pair = [dict(_leaves(side, zone)) if side is not None else {"": _one(text, zone)}
            for side, text in ((old, before), (new, after))]  # fmt: skip
    names = [name for name in {**pair[0], **pair[1]} if pair[0].get(name) != pair[1].get(name)]
    rows = tuple(Row(capfirst(name), *(side.get(name, "") for side in pair)) for name in names if name)
    return Told(
        _count(old, before, zone), _count(new, after, zone),
        rows=rows[:MOST_ROWS], more=max(0, len(rows) - MOST_ROWS),
    )  # fmt: skip


def _many(text: str) -> Any:
    """Return what a text holds if it is a list or an object written as JSON; None for any other text."""
    if not text or text[0] not in "[{":
        return None
    try:
        found = json.loads(text)
    except (ValueError, RecursionError):
        return None
    return found if isinstance(found, dict | list) else None


def _one(text: str, zone: ZoneInfo) -> str:
    at = _instant(text) if INSTANT.fullmatch(text) else None
    return local_text(at, zone) if at is not None else with_local(text, zone) or NOTHING


def _first(text: str, zone: ZoneInfo) -> str:
    first, *others = text.strip().splitlines() or [""]
    return f"{_one(first, zone)} …" if others else _one(first, zone)


def _count(found: Any, text: str, zone: ZoneInfo) -> str:
    if found is None:
        return _one(text, zone)
    leaves = list(_leaves(found, zone))
    if len(leaves) == 1 and not leaves[0][0]:
        return leaves[0][1]
    return counted(len(leaves), "value", "values") if leaves else NOTHING


def _leaves(found: Any, zone: ZoneInfo, where: str = "", depth: int = 0) -> Iterator[tuple[str, str]]:
    """Yield each value with the words of its place: what names it, and the number in its list."""
    if depth > DEEPEST and isinstance(found, dict | list):
        yield where, "…"
    elif isinstance(found, dict):
        for key, value in found.items():
            yield from _leaves(value, zone, _into(where, str(key).replace("_", " ")), depth + 1)
    elif isinstance(found, list) and any(isinstance(one, dict | list) for one in found):
        for number, value in enumerate(found, 1):
            yield from _leaves(value, zone, f"{where} {number}".strip(), depth + 1)
    elif isinstance(found, list):
        if found:
            yield where, ", ".join(_plain(one, zone) for one in found)
    else:
        yield where, _plain(found, zone)


def _into(where: str, name: str) -> str:
    return f"{where}{INTO}{name}" if where else name


def _plain(value: Any, zone: ZoneInfo) -> str:
    if value is None or value == "":
        return NOTHING
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    if isinstance(value, float):
        return f"{value:.4f}".rstrip("0").rstrip(".")
    return _one(str(value), zone)
