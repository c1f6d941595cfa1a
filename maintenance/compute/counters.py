"""Counters that only go up: cycles, running hours, days of use; and when they will reach a limit."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from fractions import Fraction
from statistics import stdev
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date


class CounterError(ValueError):
    """Readings of a counter that cannot all be true."""


@dataclass(frozen=True, slots=True)
class Reading:
    """What a counter showed on a day."""

    on: date
    value: Decimal


@dataclass(frozen=True, slots=True)
class MeterReplacement:
    """A counter was changed: what the old one last showed and the new one first.

    Readings of that same day are of the new counter.
    """

    on: date
    last_of_old: Decimal
    first_of_new: Decimal


@dataclass(frozen=True, slots=True)
class Usage:
    """How fast a counter rises: per day over ``span_days``, and how much that varies between readings."""

    per_day: Fraction
    span_days: int
    readings: int
    slowest: Fraction
    fastest: Fraction
    scatter: float | None  # standard deviation of the rates between readings, None below two of them


def running_total(readings: Sequence[Reading], replacements: Sequence[MeterReplacement] = ()) -> tuple[Reading, ...]:
    """Return the readings as if the first counter had never been changed, oldest first.

    Errors: CounterError where a counter would have gone down.
    """
    total: list[Reading] = []
    for reading in sorted(readings, key=lambda one: (one.on, one.value)):
        value = reading.value + offset_on(reading.on, replacements)
        if total and value < total[-1].value:
            raise CounterError(
                f"Reading {reading.value} on {reading.on} is {total[-1].value - value} less than the one of"
                f" {total[-1].on}: a counter only goes up. Read it again, or record that the counter was changed."
            )
        total.append(Reading(reading.on, value))
    return tuple(total)


def offset_on(day: date, replacements: Sequence[MeterReplacement]) -> Decimal:
    """Return what to add to a reading of ``day`` for all counters changed until then."""
    return sum((one.last_of_old - one.first_of_new for one in replacements if one.on <= day), Decimal(0))


MOST_REMEMBERED = 256
_remembered: dict[tuple[int, int], tuple[tuple[Reading, ...], Usage | None]] = {}
"""Rates of running totals, since many rules count with one counter; the total itself is kept, so its id stays its own."""


def usage_of(total: tuple[Reading, ...], span_days: int) -> Usage | None:
    """Return ``usage`` of a running total, reckoned once for all rules that share it."""
    known = _remembered.get((id(total), span_days))
    if known is not None and known[0] is total:
        return known[1]
    if len(_remembered) >= MOST_REMEMBERED:
        _remembered.clear()
    found = usage(total, span_days)
    _remembered[id(total), span_days] = (total, found)
    return found


def usage(total: Sequence[Reading], span_days: int) -> Usage | None:
    """Return the rate over the last ``span_days``, from the newest reading at least so old (else the oldest).

    None with fewer than two days of readings. Units: counter per day.
    """
    if not total:
        return None
    latest = total[-1]
    first = next((one for one in reversed(total) if (latest.on - one.on).days >= span_days), total[0])
    days = (latest.on - first.on).days
    if days == 0:
        return None
    chosen = [one for one in total if one.on >= first.on]
    rates = [rate for rate in map(_rate, chosen, chosen[1:]) if rate is not None]
    per_day = Fraction(latest.value - first.value) / days
    scatter = float(stdev(rates)) if len(rates) > 1 else None
    return Usage(per_day, days, len(chosen), min(rates), max(rates), scatter)


def reached_on(total: Sequence[Reading], limit: Decimal) -> date | None:
    """Return the day of the first reading that reached ``limit`` (exactly at it counts), or None."""
    if not total or total[-1].value < limit:
        return None
    return next((one.on for one in total if one.value >= limit), None)


def projected_on(latest: Reading, limit: Decimal, per_day: Fraction) -> date | None:
    """Return when ``limit`` will be reached at this rate; fractions of a day are cut off.

    None where the rate is 0 or the day lies beyond the calendar.
    """
    if per_day <= 0:
        return None
    days = Fraction(max(limit - latest.value, Decimal(0))) / per_day
    try:
        return latest.on + timedelta(days=int(days))
    except OverflowError:
        return None


def _rate(first: Reading, second: Reading) -> Fraction | None:
    days = (second.on - first.on).days
    return Fraction(second.value - first.value) / days if days else None
