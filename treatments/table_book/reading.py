"""What the page of a treatment table tells: rows with the running clock, totals, standing, notes and a picture."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from treatments.compute.profile import Choices, depth_at, oxygen_minutes, profile
from treatments.compute.tables import OXYGEN
from treatments.reference import FILES, figures, table_values

if TYPE_CHECKING:
    from collections.abc import Iterator

    from facility.compute.reference import Sourced
    from treatments.compute.profile import Profile
    from treatments.compute.tables import Table

TICKS_MIN = (15, 30, 60, 120, 240, 360, 480, 720, 1440, 2880)
MOST_TICKS = 6
PLOT_TOP, PLOT_HEIGHT, PLOT_LEFT, PLOT_WIDTH = 22, 150, 8.0, 90.0
DEPTH_LINES = 3


@dataclass(frozen=True, slots=True)
class Row:
    """One segment of the profile: minute at which it begins and ends, from leaving surface; fsw, minutes, fsw/min."""

    number: int
    from_min: float
    to_min: float
    start_fsw: float
    end_fsw: float
    minutes: float
    gas: str
    rate_fsw_min: float | None

    @property
    def is_oxygen(self) -> bool:
        """Whether oxygen is breathed."""
        return self.gas == OXYGEN


@dataclass(frozen=True, slots=True)
class Totals:
    """How long a table lasts, in minutes: by its own clock, from leaving surface, and with every extension."""

    table_min: float
    run_min: float
    oxygen_min: float
    longest_min: float


@dataclass(frozen=True, slots=True)
class Picture:
    """The planned profile for an SVG: points in minutes and fsw, marks in per cent of the width or pixels."""

    points: str
    length_min: float
    deepest_fsw: float
    ticks: tuple[tuple[float, float], ...]
    depths: tuple[tuple[float, float], ...]
    oxygen: tuple[tuple[float, float], ...]
    top: int = PLOT_TOP
    height: int = PLOT_HEIGHT
    left: float = PLOT_LEFT
    width: float = PLOT_WIDTH


def rows_of(run: Profile) -> list[Row]:
    """Return the segments of a planned profile, the descent first."""
    found = []
    for number, (one, end) in enumerate(zip(run.segments, run.ends, strict=True)):
        rate = None if one.is_stop else abs(one.ascent_rate)
        found.append(Row(number, end - one.minutes, end, one.start_fsw, one.end_fsw, one.minutes, one.gas, rate))
    return found


def totals(table: Table) -> Totals:
    """Return how long a table lasts."""
    plain = profile(table)
    longest = profile(table, Choices({one.depth_fsw: one.allowed for one in table.extensions}))
    return Totals(plain.table_minutes, plain.run_minutes, oxygen_minutes(plain.segments), longest.table_minutes)


def picture(run: Profile) -> Picture:
    """Return the picture of a planned profile."""
    length = run.run_minutes
    deepest = max(one.start_fsw for one in run.segments)
    minutes = [0.0, *run.ends]
    points = " ".join(f"{minute:g},{depth_at(run, minute):g}" for minute in minutes)
    step = next((one for one in TICKS_MIN if length / one <= MOST_TICKS), TICKS_MIN[-1])
    ticks = tuple((_percent(minute, length), float(minute)) for minute in range(0, int(length) + 1, step))
    depths = tuple(
        (PLOT_TOP + PLOT_HEIGHT * part / DEPTH_LINES, deepest * part / DEPTH_LINES) for part in range(DEPTH_LINES + 1)
    )
    oxygen = tuple(
        (_percent(row.from_min, length), PLOT_WIDTH * row.minutes / length) for row in rows_of(run) if row.is_oxygen
    )
    return Picture(points, length, deepest, ticks, depths, oxygen)


def _percent(minute: float, length: float) -> float:
    return round(PLOT_LEFT + PLOT_WIDTH * minute / length, 3)


def values_of(key: str) -> list[tuple[Sourced, str]]:
    """Return each value of a shipped table with its text; nothing for a site's own."""
    return [(one, _text(one.value)) for one in table_values(key).values()] if key in FILES else []


def _text(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        between = "; " if value and isinstance(value[0], list) else ", "
        return between.join(_text(one) for one in value)
    return str(value)


def notes_of(key: str) -> list[Sourced]:
    """Return what to look out for in a shipped table: traps, and differences between editions."""
    return [one for name, one in figures("table_notes").items() if name.split(".")[0] in _groups(key)]


def _groups(key: str) -> Iterator[str]:
    yield key.replace(".", "_")
    if key.startswith("TT"):
        yield "all"
