"""Readings of a test: judged against their limits, and what they say of its result."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable
    from decimal import Decimal


class LimitError(ValueError):
    """Limits between which nothing lies."""


class Outcome(StrEnum):
    """What became of one reading."""

    WITHIN = "within limits"
    OUTSIDE = "outside limits"
    UNREAD = "could not read"
    UNLIMITED = "no limit given"


class Word(StrEnum):
    """What came of a whole test, in the words of a record of work."""

    PASSED = "passed"
    FAILED = "failed"
    UNREAD = "could not read"


_SEVERITY = {Word.PASSED: 0, Word.UNREAD: 1, Word.FAILED: 2}


@dataclass(frozen=True, slots=True)
class Judged:
    """One reading as typed, with the limits it was held against; ``value`` None: it could not be read."""

    name: str
    value: Decimal | None
    unit: str
    low: Decimal | None
    high: Decimal | None
    outcome: Outcome


def judge(value: Decimal | None, low: Decimal | None, high: Decimal | None) -> Outcome:
    """Return what a reading is against "at least" and "at most"; a value at a limit is within.

    Units: all three in one unit. Errors: LimitError if the lower limit lies above the upper.

    >>> from decimal import Decimal
    >>> judge(Decimal("3.0"), None, Decimal(3))
    <Outcome.WITHIN: 'within limits'>
    """
    if low is not None and high is not None and low > high:
        raise LimitError(f"At least {low} and at most {high}: nothing lies between. Exchange the two.")
    if value is None:
        return Outcome.UNREAD
    if (low is not None and value < low) or (high is not None and value > high):
        return Outcome.OUTSIDE
    return Outcome.UNLIMITED if low is None and high is None else Outcome.WITHIN


def proposed(outcomes: Iterable[Outcome]) -> Word | None:
    """Return the result that readings propose: the worst counts.

    None where nothing was held against a limit: then somebody has to say what came of it.
    """
    found = set(outcomes)
    if Outcome.OUTSIDE in found:
        return Word.FAILED
    if Outcome.UNREAD in found:
        return Word.UNREAD
    return Word.PASSED if Outcome.WITHIN in found else None


def is_better(said: Word, proposal: Word) -> bool:
    """Return whether somebody says better of a test than its readings do."""
    return _SEVERITY[said] < _SEVERITY[proposal]
