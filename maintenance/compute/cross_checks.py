"""Comparisons that no eye makes: two values that should agree, a value that should move, a time that should rise.

"More than" does not include the limit itself. A finding is a reason to look, never a verdict.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise
from math import isfinite
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date, datetime


class CrossCheckError(ValueError):
    """Values that cannot be compared."""


@dataclass(frozen=True, slots=True)
class Compared:
    """Two values that should agree, their difference, the limit, and whether it is more than that."""

    expected: float
    found: float
    difference: float
    limit: float
    over: bool


def compare(expected: float, found: float, limit_percent: float, *, least: float = 0.0) -> Compared:
    """Compare a value with what was expected, within a percentage of that, but at least ``least`` (same unit).

    Units: all in one unit but ``limit_percent`` %. Errors: CrossCheckError for a figure that is none.
    """
    if not all(isfinite(one) for one in (expected, found, limit_percent, least)) or limit_percent < 0:
        raise CrossCheckError(f"{expected}, {found}, {limit_percent} %: each must be a number, the limit 0 or more.")
    limit = max(abs(expected) * limit_percent / 100, least)
    difference = found - expected
    return Compared(expected, found, difference, limit, abs(difference) > limit)


@dataclass(frozen=True, slots=True)
class SameValue:
    """One value that was read again and again: how often, on how many days, from when until when."""

    value: Decimal
    readings: int
    days: int
    first_at: datetime
    last_at: datetime


def same_values(
    readings: Sequence[tuple[datetime, Decimal]], least_days: int, *, resolution: Decimal = Decimal(0)
) -> tuple[SameValue, ...]:
    """Return spans in which a gauge showed the same value on at least ``least_days`` days running.

    ``readings``: in order of time. Values within half of ``resolution`` (the gauge's smallest step) are the same.
    Errors: CrossCheckError if ``least_days`` is below 2.
    """
    if least_days < 2:  # noqa: PLR2004  # one day is always the same as itself
        raise CrossCheckError(f"{least_days} days: at least 2 are needed to speak of the same value.")
    spans: list[list[tuple[datetime, Decimal]]] = []
    for reading in readings:
        if spans and abs(reading[1] - spans[-1][0][1]) <= resolution / 2:
            spans[-1].append(reading)
        else:
            spans.append([reading])
    told = (_same(span) for span in spans)
    return tuple(one for one in told if one.days >= least_days)


def _same(span: list[tuple[datetime, Decimal]]) -> SameValue:
    days = len({at.date() for at, _value in span})
    return SameValue(span[0][1], len(span), days, span[0][0], span[-1][0])


@dataclass(frozen=True, slots=True)
class Fall:
    """A content that fell between two readings although nothing was used [litres, %]."""

    from_at: datetime
    to_at: datetime
    before: float
    after: float
    percent: float


def falls_unused(
    points: Sequence[tuple[datetime, float]], used: Sequence[tuple[datetime, datetime]], limit_percent: float
) -> tuple[Fall, ...]:
    """Return falls of more than ``limit_percent`` % between two readings with no use between them.

    ``points``: instant and content [L], in order of time; ``used``: begin and end of every use.
    """
    found = []
    for (from_at, before), (to_at, after) in pairwise(points):
        if before <= 0 or any(begin < to_at and end > from_at for begin, end in used):
            continue
        percent = 100 * (before - after) / before
        if percent > limit_percent:
            found.append(Fall(from_at, to_at, before, after, percent))
    return tuple(found)


def used_between(
    points: Sequence[tuple[datetime, float]], begin: datetime, end: datetime
) -> tuple[tuple[datetime, float], tuple[datetime, float]] | None:
    """Return the last reading at or before ``begin`` and the first at or after ``end``; None without both."""
    before = [one for one in points if one[0] <= begin]
    after = [one for one in points if one[0] >= end]
    return (before[-1], after[0]) if before and after else None


def older_than_instrument(certificate_on: date, in_service_on: date | None, grace_days: int) -> int | None:
    """Return by how many days a certificate is older than the instrument's service, if more than ``grace_days``.

    A new instrument comes with its maker's certificate: hence the grace. None where nothing is known or all is well.
    """
    if in_service_on is None:
        return None
    days = (in_service_on - certificate_on).days
    return days if days > grace_days else None


def goes_back(earlier: datetime, later: datetime, tolerance_s: float = 0.0) -> float | None:
    """Return by how many seconds something that comes later is dated earlier; None if time runs forward.

    >>> from datetime import datetime
    >>> goes_back(datetime(2026, 3, 12, 12, 0), datetime(2026, 3, 12, 11, 59))
    60.0
    """
    seconds = (earlier - later).total_seconds()
    return seconds if seconds > tolerance_s else None
