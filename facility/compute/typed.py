"""Reading what a person typed: a day, an instant, a number. What has two readings is refused.

A day is written ``27 Nov 2026`` or ``2026-11-27``; an instant adds ``18:00``. A number may
have a decimal comma or point, and never a thousand separator.
"""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time, timedelta, timezone
from decimal import Decimal
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

MONTHS = (
    "january", "february", "march", "april", "may", "june", "july", "august", "september", "october",
    "november", "december",
)  # fmt: skip
FIRST_YEAR, LAST_YEAR = 1900, 2199
LONGEST = 100
"""Letters of a day, an instant or a number with its spaces; a longer text is none, and is not searched."""
MOST_FIGURES = 18
"""Of a whole number: what always fits into 64 bits with a sign."""

_ISO = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})")
_NAMED = re.compile(r"(\d{1,2})\.? +([A-Za-z]{3,9})\.?,? +(\d{4})")
_FIGURES = re.compile(r"\d{1,4}[./-]\d{1,2}[./-]\d{1,4}")
_INSTANT = re.compile(r"(?P<day>.+?)[ T]+(?P<hour>\d{1,2}):(?P<minute>\d{2})(?P<zone>Z| ?UTC| ?[+-]\d{2}:\d{2})?")
_NUMBER = re.compile(r"[+-]?\d+(?:[.,]\d+)?")
_GROUPED = re.compile(r"[+-]?\d{1,3}(?:([., '\u00a0\u2009\u202f\u2019])\d{3})+(?:[.,]\d+)?")
_LIKE_A_GROUP = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}")


class Refusal(StrEnum):
    """Why a typed text is not taken."""

    NOT_A_DAY = "not a day"
    TWO_ORDERS = "two orders"
    NO_SUCH_DAY = "no such day"
    FAR_OFF = "far off"
    NOT_AN_INSTANT = "not an instant"
    SKIPPED = "skipped"
    TWICE = "twice"
    NOT_A_NUMBER = "not a number"
    GROUPED = "grouped"


class TypedError(ValueError):
    """A typed text that cannot be taken, with the reason."""

    def __init__(self, refusal: Refusal, text: str) -> None:
        self.refusal = refusal
        self.text = text if len(text) <= LONGEST else f"{text[:LONGEST]}…"
        super().__init__(f"{self.text!r}: {refusal}")


def _trimmed(text: str, refusal: Refusal) -> str:
    """Return a text without the spaces round it. Errors: TypedError for one too long to be what it should be."""
    trimmed = text.strip()
    if len(trimmed) > LONGEST:
        raise TypedError(refusal, text)
    return trimmed


def day(text: str) -> date:
    """Return the day that was typed.

    Errors: TypedError; day and month both in figures are refused, since they have two orders.

    >>> day("27 Nov 2026"), day("2026-11-27")
    (datetime.date(2026, 11, 27), datetime.date(2026, 11, 27))
    """
    trimmed = _trimmed(text, Refusal.NOT_A_DAY)
    if found := _ISO.fullmatch(trimmed):
        year, month, number = (int(part) for part in found.groups())
    elif found := _NAMED.fullmatch(trimmed):
        number, month, year = int(found[1]), _month(found[2], text), int(found[3])
    else:
        raise TypedError(Refusal.TWO_ORDERS if _FIGURES.fullmatch(trimmed) else Refusal.NOT_A_DAY, text)
    try:
        result = date(year, month, number)
    except ValueError:
        raise TypedError(Refusal.NO_SUCH_DAY, text) from None
    if not FIRST_YEAR <= year <= LAST_YEAR:
        raise TypedError(Refusal.FAR_OFF, text)
    return result


def _month(word: str, text: str) -> int:
    matches = [index for index, name in enumerate(MONTHS, 1) if name.startswith(word.lower())]
    if len(matches) != 1:
        raise TypedError(Refusal.NOT_A_DAY, text)
    return matches[0]


def instant(text: str, zone: ZoneInfo) -> datetime:
    """Return the instant that was typed as local time of ``zone``, in UTC.

    A time with ``Z`` or an offset such as ``+01:00`` behind it is taken as that.
    Errors: TypedError, also for a time that the clock change skips or shows twice.
    """
    found = _INSTANT.fullmatch(_trimmed(text, Refusal.NOT_AN_INSTANT))
    if found is None:
        raise TypedError(Refusal.NOT_AN_INSTANT, text)
    on = day(found["day"])
    try:
        at = time(int(found["hour"]), int(found["minute"]))
    except ValueError:
        raise TypedError(Refusal.NOT_AN_INSTANT, text) from None
    if found["zone"]:
        return datetime.combine(on, at, _offset(found["zone"].strip(), text)).astimezone(UTC)
    return _local(datetime.combine(on, at, zone), text)


def _offset(text: str, whole: str) -> timezone:
    if text in {"Z", "UTC"}:
        return UTC
    hours, minutes = int(text[1:3]), int(text[4:6])
    if hours > 14 or minutes > 59:  # noqa: PLR2004  # the widest civil offset is 14 h
        raise TypedError(Refusal.NOT_AN_INSTANT, whole)
    span = timedelta(hours=hours, minutes=minutes)
    return timezone(-span if text[0] == "-" else span)


def _local(first: datetime, text: str) -> datetime:
    second = first.replace(fold=1)
    if first.utcoffset() == second.utcoffset():
        return first.astimezone(UTC)
    there_and_back = first.astimezone(UTC).astimezone(first.tzinfo)
    skipped = there_and_back.replace(tzinfo=None) != first.replace(tzinfo=None)
    raise TypedError(Refusal.SKIPPED if skipped else Refusal.TWICE, text)


def number(text: str) -> Decimal:
    """Return the number that was typed, with a decimal comma or point.

    Errors: TypedError; ``1 234`` and ``1,234`` are refused, since the second may mean
    1234 or 1.234.

    >>> number("12,5"), number("0.125")
    (Decimal('12.5'), Decimal('0.125'))
    """
    trimmed = _trimmed(text, Refusal.NOT_A_NUMBER).replace("\u2212", "-")
    if _LIKE_A_GROUP.fullmatch(trimmed):
        raise TypedError(Refusal.GROUPED, text)
    if _NUMBER.fullmatch(trimmed):
        return Decimal(trimmed.replace(",", "."))
    raise TypedError(Refusal.GROUPED if _GROUPED.fullmatch(trimmed) else Refusal.NOT_A_NUMBER, text)


def whole(text: str | None, otherwise: int = 0) -> int:
    """Return the whole number that a page sends back, such as a row's; ``otherwise`` for what is none or beyond 18 figures.

    >>> whole("12"), whole("1.5"), whole("9" * 5000, -1)
    (12, 0, -1)
    """
    return int(text) if text and text.isdecimal() and len(text) <= MOST_FIGURES else otherwise
