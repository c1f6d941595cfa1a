"""Instants of the slow readiness, by datetime and zoneinfo alone."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from functools import cache
from typing import Any
from zoneinfo import ZoneInfo

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
NINETY_DAYS = 90 * 24 * 60


@cache
def minute(text: str) -> int:
    """Minutes since 1970 of an instant."""
    return int((datetime.fromisoformat(text.replace("Z", "+00:00")) - EPOCH).total_seconds() // 60)


def written(moment: int | None) -> str | None:
    """The instant of a number of minutes since 1970."""
    return None if moment is None else (EPOCH + timedelta(minutes=moment)).strftime("%Y-%m-%dT%H:%MZ")


@cache
def day_over(zone: str, day: str, window_days: int) -> int:
    """First minute after a civil day and its window, by looking at the calendar each minute."""
    last = datetime.fromisoformat(day).date() + timedelta(days=window_days)
    guess = minute(f"{last.isoformat()}T00:00Z") - 2 * 60
    while (EPOCH + timedelta(minutes=guess)).astimezone(ZoneInfo(zone)).date() <= last:
        guess += 1
    return guess


def within(span: dict[str, Any], moment: int) -> bool:
    """Whether a moment lies in [from, until)."""
    until = span.get("until")
    return minute(span["from"]) <= moment and (until is None or moment < minute(until))
