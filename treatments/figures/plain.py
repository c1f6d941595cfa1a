"""The figures of a run as plain JSON, for the log screen and for anybody who checks them from outside."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import datetime
from enum import Enum
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

if TYPE_CHECKING:
    from treatments.figures.shape import Figures

VERSION = 1
#: what the screen of a running log asks for often
SHORT = (
    "run_pk",
    "as_of",
    "started_at",
    "ended_at",
    "elapsed_min",
    "planned_end_at",
    "moved_min",
    "next_events",
    "depth",
)
PLACES = 6


def plain(value: Any) -> Any:
    """Return a value as JSON takes it: instants as ISO 8601 in UTC, numbers cut to six decimals, names kept."""
    if isinstance(value, Enum):
        return str(value)
    if isinstance(value, datetime):
        return value.isoformat(timespec="seconds")
    if isinstance(value, float):
        return round(value, PLACES)
    if isinstance(value, ZoneInfo):
        return value.key
    if is_dataclass(value) and not isinstance(value, type):
        return {one.name: plain(getattr(value, one.name)) for one in fields(value)}
    if isinstance(value, Mapping):
        return {_key(key): plain(one) for key, one in value.items()}
    if isinstance(value, (tuple, list, frozenset)):
        return [plain(one) for one in value]
    return value


def _key(key: object) -> str:
    if isinstance(key, tuple):
        at_rest, dump = key
        return f"{'at rest' if at_rest else 'at work'}, {'dump' if dump else 'no dump'}"
    return f"{key:g}" if isinstance(key, float) else str(key)


def as_plain(figures: Figures) -> dict[str, Any]:
    """Return everything that a run computes."""
    return {"version": VERSION, **plain(figures)}


def as_short(figures: Figures) -> dict[str, Any]:
    """Return what a running log shows: what is due, the depth, and who is on oxygen."""
    found = {name: plain(getattr(figures, name)) for name in SHORT}
    people = [
        {
            "place_pk": one.place_pk, "label": one.label, "inside": one.inside_now, "on_oxygen": one.on_oxygen,
            "since": plain(one.breathing_since_at), "oxygen_min": plain(one.oxygen_min), "uptd": plain(one.dose.uptd),
        }
        for one in figures.people
    ]  # fmt: skip
    departures = [] if figures.conformity is None else [plain(one) for _who, one in figures.conformity.found]
    return {"version": VERSION, **found, "people": people, "departures": departures}
