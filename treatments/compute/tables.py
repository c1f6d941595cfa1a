"""Treatment tables: what a table is, and how it is read from its parts with clear refusals.

A table is logged and compared against. Nothing here chooses a table or advises one.
Depths are gauge fsw, durations minutes.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from math import fsum, isfinite
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

#: common practice, no source: beyond these a number is a slip of the keyboard
DEEPEST_FSW = 400.0
MOST_MINUTES = 14 * 24 * 60.0
FASTEST_FSW_MIN = 100.0
MOST_SEGMENTS = 200
MOST_EXTENSIONS = 20
ROW_PARTS = 4  # start, end, minutes, gas

OXYGEN, AIR = "O2", "AIR"
KNOWN_PARTS = frozenset(
    {
        "title", "body", "revision", "stop_time_begins", "descent", "segments", "extensions",
        "first_stop", "depth_of_relief", "total",
    }
)  # fmt: skip
NEEDED_PARTS = ("title", "body", "revision", "stop_time_begins", "descent", "segments")


class TableError(ValueError):
    """Something in a table that cannot be used: what it is, the value, and what is allowed."""

    def __init__(self, what: str, value: object, allowed: str) -> None:
        super().__init__(f"{what}: {value!r} is refused. Allowed: {allowed}.")
        self.what, self.value, self.allowed = what, value, allowed


class StopClock(StrEnum):
    """When the clock of a stop starts, and with it what counts as stop time."""

    ARRIVAL = "arrival"
    SURFACE = "leaving surface"  # the first stop includes the compression
    DEEPER_STEP = "leaving deeper step"  # a stop includes the travel to it


@dataclass(frozen=True, slots=True)
class Segment:
    """A stop or a straight change of depth on one gas. Units: fsw gauge, minutes."""

    start_fsw: float
    end_fsw: float
    minutes: float
    gas: str

    @property
    def is_stop(self) -> bool:
        """Whether the depth stays."""
        return self.start_fsw == self.end_fsw

    @property
    def ascent_rate(self) -> float:
        """The rate upwards in fsw/min; negative when going down."""
        return (self.start_fsw - self.end_fsw) / self.minutes


@dataclass(frozen=True, slots=True)
class Descent:
    """How the first stop is reached. Units: fsw gauge, fsw/min."""

    to_fsw: float
    rate_fsw_min: float
    gas: str

    @property
    def minutes(self) -> float:
        """Time of the descent at its nominal rate."""
        return self.to_fsw / self.rate_fsw_min


@dataclass(frozen=True, slots=True)
class Extension:
    """What one extension adds at a depth, and how many are allowed without a medical officer."""

    depth_fsw: float
    segments: tuple[Segment, ...]
    allowed: int
    breaks_may_be_left_out: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """One treatment table of one body and revision."""

    key: str
    title: str
    body: str
    revision: str
    clock: StopClock
    descent: Descent
    segments: tuple[Segment, ...]
    extensions: tuple[Extension, ...] = ()
    first_stop: tuple[float, float | None] | None = None
    depth_of_relief: bool = False


def read_table(key: str, parts: Mapping[str, Any], gases: Collection[str]) -> Table:
    """Return a table from its parts, as a reference file or a site's own table holds them.

    ``segments``: rows of start fsw, end fsw, minutes, gas. ``gases``: the names that exist.
    Errors: TableError naming the first part that is wrong.
    """
    _names("table", parts, KNOWN_PARTS)
    for name in NEEDED_PARTS:
        if name not in parts:
            raise TableError(name, None, "it must be given")
    segments = read_segments("segments", parts["segments"], gases)
    descent = _descent(parts["descent"], gases)
    _joined(segments, descent)
    table = Table(
        key=key,
        title=_text("title", parts["title"]),
        body=_text("body", parts["body"]),
        revision=_text("revision", parts["revision"]),
        clock=_clock(parts["stop_time_begins"]),
        descent=descent,
        segments=segments,
        extensions=tuple(_extension(one, segments, gases) for one in _list("extensions", parts.get("extensions", []))),
        first_stop=_first_stop(parts.get("first_stop")),
        depth_of_relief=_yes("depth_of_relief", parts.get("depth_of_relief", False)),
    )
    _total(table, parts.get("total"))
    _descent_fits(table)
    return table


def read_segments(what: str, rows: Any, gases: Collection[str]) -> tuple[Segment, ...]:
    """Return segments from rows of start fsw, end fsw, minutes, gas.

    Errors: TableError naming the row.
    """
    given = _list(what, rows)
    if not 1 <= len(given) <= MOST_SEGMENTS:
        raise TableError(what, len(given), f"1 to {MOST_SEGMENTS} rows")
    return tuple(_segment(f"{what}, row {place}", row, gases) for place, row in enumerate(given, 1))


def _segment(where: str, row: Any, gases: Collection[str]) -> Segment:
    if not isinstance(row, list | tuple) or len(row) != ROW_PARTS:
        raise TableError(where, row, "four values: start fsw, end fsw, minutes, gas")
    return Segment(
        number(f"{where}, start fsw", row[0], 0, DEEPEST_FSW),
        number(f"{where}, end fsw", row[1], 0, DEEPEST_FSW),
        _more_than_nothing(f"{where}, minutes", row[2], MOST_MINUTES),
        _gas(f"{where}, gas", row[3], gases),
    )


def _descent(part: Any, gases: Collection[str]) -> Descent:
    _names("descent", part, {"to", "rate", "gas"})
    return Descent(
        _more_than_nothing("descent, to", part.get("to"), DEEPEST_FSW),
        _more_than_nothing("descent, rate", part.get("rate"), FASTEST_FSW_MIN),
        _gas("descent, gas", part.get("gas"), gases),
    )


def _extension(part: Any, segments: Sequence[Segment], gases: Collection[str]) -> Extension:
    _names("extension", part, {"depth", "segments", "allowed", "breaks_may_be_left_out"})
    depth = _more_than_nothing("extension, depth", part.get("depth"), DEEPEST_FSW)
    if not any(one.is_stop and one.start_fsw == depth for one in segments):
        raise TableError("extension, depth", depth, "a depth at which the table has a stop")
    added = read_segments(f"extension at {depth:g} fsw", part.get("segments"), gases)
    if any(not one.is_stop or one.start_fsw != depth for one in added):
        raise TableError(f"extension at {depth:g} fsw", part["segments"], f"stops at {depth:g} fsw only")
    allowed = number(f"extension at {depth:g} fsw, allowed", part.get("allowed"), 1, MOST_EXTENSIONS)
    if allowed != int(allowed):
        raise TableError(f"extension at {depth:g} fsw, allowed", allowed, "a whole number")
    left_out = _yes(f"extension at {depth:g} fsw, breaks", part.get("breaks_may_be_left_out", False))
    return Extension(depth, added, int(allowed), left_out)


def _joined(segments: Sequence[Segment], descent: Descent) -> None:
    depth = descent.to_fsw
    for place, one in enumerate(segments, 1):
        if one.start_fsw != depth:
            raise TableError(
                f"segments, row {place}, start fsw", one.start_fsw, f"{depth:g}, where the one before ends"
            )
        depth = one.end_fsw
    if depth != 0:
        raise TableError("segments, last row, end fsw", depth, "0, the surface")


def _first_stop(part: Any) -> tuple[float, float | None] | None:
    if part is None:
        return None
    _names("first_stop", part, {"least", "most"})
    least = _more_than_nothing("first_stop, least", part.get("least"), MOST_MINUTES)
    if part.get("most") is None:
        return least, None
    return least, number("first_stop, most", part["most"], least, MOST_MINUTES)


def _total(table: Table, given: Any) -> None:
    """Refuse a table whose segments do not add up to the total that is printed beside them."""
    found = fsum(one.minutes for one in table.segments)
    if given is not None and abs(found - number("total", given, 0, 2 * MOST_MINUTES)) > 1e-9 * max(1.0, found):
        raise TableError("total", given, f"{found:g} min, the sum of the segments; look for the wrong minute")


def _descent_fits(table: Table) -> None:
    first = table.segments[0]
    if table.clock is StopClock.SURFACE and not (first.is_stop and first.minutes > table.descent.minutes):
        allowed = f"more than the {table.descent.minutes:g} min of the descent, which counts in it"
        raise TableError("segments, row 1, minutes", first.minutes, allowed)


def number(what: str, value: Any, least: float, most: float) -> float:
    """Return a finite number in its limits. Errors: TableError."""
    allowed = f"a number from {least:g} to {most:g}"
    if isinstance(value, bool) or not isinstance(value, int | float) or not isfinite(value):
        raise TableError(what, value, allowed)
    if not least <= value <= most:
        raise TableError(what, value, allowed)
    return float(value)


def _more_than_nothing(what: str, value: Any, most: float) -> float:
    found = number(what, value, 0, most)
    if found == 0:
        raise TableError(what, value, f"more than 0, up to {most:g}")
    return found


def _gas(what: str, value: Any, gases: Collection[str]) -> str:
    if not isinstance(value, str) or value not in gases:
        raise TableError(what, value, "one of " + ", ".join(sorted(gases)))
    return value


def _text(what: str, value: Any) -> str:
    if not isinstance(value, str) or not value.strip():
        raise TableError(what, value, "a text")
    return value.strip()


def _clock(value: Any) -> StopClock:
    if value not in list(StopClock):
        raise TableError("stop_time_begins", value, "one of " + ", ".join(StopClock))
    return StopClock(value)


def _yes(what: str, value: Any) -> bool:
    if not isinstance(value, bool):
        raise TableError(what, value, "true or false")
    return value


def _list(what: str, value: Any) -> list[Any]:
    if not isinstance(value, list):
        raise TableError(what, value, "a list")
    return value


def _names(what: str, part: Any, known: Collection[str]) -> None:
    if not isinstance(part, dict):
        raise TableError(what, part, "an object with " + ", ".join(sorted(known)))
    for name in part:
        if name not in known:
            raise TableError(f"{what}, entry", name, "one of " + ", ".join(sorted(known)))
