"""Instants as whole minutes since 1970-01-01T00:00Z, and civil dates in a zone."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from typing import TypeAlias
from zoneinfo import ZoneInfo

Instant: TypeAlias = int
"""Whole minutes since 1970-01-01T00:00Z, negative before."""

FOREVER: Instant = 1 << 60
MINUTES_PER_DAY = 24 * 60
LAST_HOUR, LAST_MINUTE = 23, 59
INSTANT_PATTERN = r"^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}Z$"
INSTANT_ADVICE = "Write YYYY-MM-DDTHH:MMZ: UTC, whole minutes, ending in Z"

_SHAPE = re.compile(INSTANT_PATTERN, re.ASCII)
_EPOCH_DAY = date(1970, 1, 1).toordinal()
_LAST = (date.max.toordinal() - _EPOCH_DAY + 1) * MINUTES_PER_DAY - 1


class FactsError(ValueError):
    """A value that readiness cannot be computed from: which, why, what is allowed."""


def parse_instant(text: str) -> Instant:
    """Read an instant written ``YYYY-MM-DDTHH:MMZ``.

    Units: result in minutes since 1970-01-01T00:00Z.
    Errors: FactsError if the text has no Z, has seconds or is no such instant.

    >>> parse_instant("1970-01-02T00:01Z")
    1441
    """
    if _SHAPE.match(text) is None or text.endswith("\n"):
        raise FactsError(f"{text!r} is not an instant. {INSTANT_ADVICE}.")
    try:
        day = date(int(text[:4]), int(text[5:7]), int(text[8:10])).toordinal()
    except ValueError as error:
        raise FactsError(f"{text!r} is not an instant: {error}.") from error
    hour, minute = int(text[11:13]), int(text[14:16])
    if hour > LAST_HOUR or minute > LAST_MINUTE:
        raise FactsError(f"{text!r} is not an instant: hours run 00 to 23, minutes 00 to 59.")
    return (day - _EPOCH_DAY) * MINUTES_PER_DAY + hour * 60 + minute


def format_instant(instant: Instant) -> str:
    """Write an instant as ``YYYY-MM-DDTHH:MMZ``; past year 9999 its last minute.

    >>> format_instant(1441)
    '1970-01-02T00:01Z'
    """
    days, minutes = divmod(min(instant, _LAST), MINUTES_PER_DAY)
    day = date.fromordinal(_EPOCH_DAY + days)
    return f"{day.isoformat()}T{minutes // 60:02d}:{minutes % 60:02d}Z"


def instant_of(moment: datetime) -> Instant:
    """Turn an aware datetime into an instant, seconds cut off.

    Errors: FactsError if the datetime carries no offset.
    """
    if moment.utcoffset() is None:
        raise FactsError(f"{moment.isoformat()} has no offset. Give an aware datetime.")
    return int((moment - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(minutes=1))


def datetime_of(instant: Instant) -> datetime:
    """Turn an instant into an aware datetime in UTC."""
    return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(minutes=instant)


@lru_cache(maxsize=4096)
def end_of_local_day(day: date, window_days: int, zone: str) -> Instant:
    """First instant after ``day`` and ``window_days`` more days in ``zone``.

    Units: result in minutes since 1970-01-01T00:00Z.
    Valid: also where clocks change at midnight; then the next day starts late
    (no 00:00) or twice (the first 00:00 counts).

    >>> format_instant(end_of_local_day(date(2026, 3, 29), 0, "Europe/Oslo"))
    '2026-03-29T22:00Z'
    """
    following = day + timedelta(days=window_days + 1)
    place = ZoneInfo(zone)
    midnight = datetime(following.year, following.month, following.day, tzinfo=place)
    instant = instant_of(midnight.astimezone(UTC))
    while _local_date(instant - 1, place) >= following:
        instant -= 1
    return instant


def _local_date(instant: Instant, place: ZoneInfo) -> date:
    return datetime_of(instant).astimezone(place).date()
