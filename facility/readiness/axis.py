"""The graduated margin above the pictures of time: scale, cells and words."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import lru_cache
from itertools import pairwise
from zoneinfo import ZoneInfo

from django.utils.dateformat import format as date_words

from facility.compute.instants import MINUTES_PER_DAY, Instant, end_of_local_day, instant_of
from facility.readiness.times import local

CLOSE_END, MIDDLE_END, FAR_END = 66.0, 84.0, 100.0
CLOSE_MIN = MINUTES_PER_DAY
MIDDLE_MIN = CLOSE_MIN + 6 * MINUTES_PER_DAY
FAR_MIN = MIDDLE_MIN + 70 * MINUTES_PER_DAY
_WORD_ROOM = 7.0
_MONTH_ROOM = 3.5
_NOON = 12


def position(minutes_from_now: float) -> float:
    """Return where an instant stands across the picture, in per cent of its width, 0 to 100.

    >>> position(720)
    33.0
    """
    if minutes_from_now <= 0:
        return 0.0
    if minutes_from_now <= CLOSE_MIN:
        return CLOSE_END * minutes_from_now / CLOSE_MIN
    if minutes_from_now <= MIDDLE_MIN:
        return CLOSE_END + (MIDDLE_END - CLOSE_END) * (minutes_from_now - CLOSE_MIN) / (MIDDLE_MIN - CLOSE_MIN)
    if minutes_from_now <= FAR_MIN:
        return MIDDLE_END + (FAR_END - MIDDLE_END) * (minutes_from_now - MIDDLE_MIN) / (FAR_MIN - MIDDLE_MIN)
    return FAR_END


def percent(value: float) -> str:
    """Print a place for the picture: always with a point, whatever the language."""
    return f"{value:.2f}".rstrip("0").rstrip(".") + "%"


@dataclass(frozen=True, slots=True)
class Cell:
    """One step of the graduation, filled in turns."""

    x: str
    width: str
    filled: bool


@dataclass(frozen=True, slots=True)
class Tick:
    """A word above the graduation."""

    text: str
    x: str
    anchor: str = "middle"
    strong: bool = False
    phone: bool = True


@dataclass(frozen=True, slots=True)
class Axis:
    """The graduation, its words, and where a day begins within the first 24 hours."""

    cells: tuple[Cell, ...]
    ticks: tuple[Tick, ...]
    midnights: tuple[str, ...]
    changes: tuple[str, str] = (percent(CLOSE_END), percent(MIDDLE_END))


@lru_cache(maxsize=64)
def axis_of(at: Instant, zone: str) -> Axis:
    """Return the graduation for a page asked for at ``at``, in the hours and days of ``zone``.

    Units: ``at`` in minutes since 1970-01-01T00:00Z.
    """
    hours = _even_hours(at, zone)
    days = _midnights(at, zone)
    weeks = [MIDDLE_MIN + 14 * MINUTES_PER_DAY * number for number in range(1, 5)]
    edges = [0, *(m for m, _hour in hours if 0 < m < CLOSE_MIN), CLOSE_MIN]
    edges += [m for m in days if CLOSE_MIN < m < MIDDLE_MIN]
    edges += [MIDDLE_MIN, *weeks, FAR_MIN]
    cells = tuple(
        Cell(percent(position(start)), percent(position(end) - position(start)), number % 2 == 0)
        for number, (start, end) in enumerate(pairwise(edges))
    )
    close = tuple(percent(position(m)) for m in days if m <= CLOSE_MIN)
    ticks = (Tick("now", "0%", "start", strong=True), *_hour_words(at, zone), *_day_words(at, zone, days))
    return Axis(cells=cells, ticks=(*ticks, *_month_words(at, zone)), midnights=close)


def _even_hours(at: Instant, zone: str) -> list[tuple[int, int]]:
    """Return minutes from now, and the hour, of each even full hour of the next day as the clock shows them."""
    found = []
    for minutes in range(-at % 15, CLOSE_MIN + 1, 15):
        there = local(at + minutes, zone)
        if there.minute == 0 and there.hour % 2 == 0:
            found.append((minutes, there.hour))
    return found


def _midnights(at: Instant, zone: str) -> list[int]:
    """Return minutes from now of the beginning of each of the next seven days or so."""
    today = local(at, zone).date()
    return [end_of_local_day(today, number, zone) - at for number in range(8)]


def _hour_words(at: Instant, zone: str) -> list[Tick]:
    """Return 06:00, 12:00, 18:00, and the day where it begins."""
    words = []
    for minutes, hour in _even_hours(at, zone):
        where = position(minutes)
        if hour % 6 or not _WORD_ROOM <= where <= CLOSE_END - _WORD_ROOM / 2:
            continue
        if hour == 0:
            words.append(Tick(date_words(local(at + minutes, zone), "D j"), percent(where), strong=True))
        else:
            words.append(Tick(f"{hour:02d}:00", percent(where), phone=hour == _NOON))
    return words


def _day_words(at: Instant, zone: str, days: list[int]) -> list[Tick]:
    """Return a letter for each whole day of the second part."""
    return [
        Tick(date_words(local(at + start, zone), "D")[0], percent((position(start) + position(end)) / 2), phone=False)
        for start, end in pairwise(days)
        if start >= CLOSE_MIN and end <= MIDDLE_MIN
    ]


def _month_words(at: Instant, zone: str) -> list[Tick]:
    """Return the month that the third part begins in, and each that begins in it."""
    first = local(at + MIDDLE_MIN, zone).date()
    words = [Tick(date_words(first, "M"), percent(MIDDLE_END + 0.8), "start")]
    last = MIDDLE_END + 0.8
    month = (first.replace(day=1) + timedelta(days=32)).replace(day=1)
    while (where := position(_day_start(month, zone) - at)) < FAR_END:
        if where - last >= _MONTH_ROOM and where <= FAR_END - _MONTH_ROOM:
            words.append(Tick(date_words(month, "M"), percent(where), "start", phone=False))
            last = where
        elif where - last >= _MONTH_ROOM:
            words.append(Tick(date_words(month, "M"), percent(FAR_END), "end", phone=False))
            last = where
        month = (month + timedelta(days=32)).replace(day=1)
    return words


def _day_start(day: date, zone: str) -> Instant:
    return instant_of(datetime(day.year, day.month, day.day, tzinfo=ZoneInfo(zone)))
