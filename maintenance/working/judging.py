"""Typed readings of a piece of work become judged ones, and propose its result."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as say

from maintenance.compute.readings import LimitError, Outcome, Word, judge, proposed
from maintenance.working.kinds import Answered, Limit, Look, Quantity, Sum, WorkError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import date
    from decimal import Decimal

    from maintenance.compute.counters import Reading as Count
    from maintenance.working.kinds import Derived, KindOfWork

PLACES = 6
GOOD, NOT_GOOD, NOT_SEEN = "good", "not good", "could not look"
_OF_LOOK = {GOOD: Outcome.WITHIN, NOT_GOOD: Outcome.OUTSIDE, NOT_SEEN: Outcome.UNREAD}


@dataclass(frozen=True, slots=True)
class Typed:
    """One reading as typed: value None if it could not be read, limits None where none was typed beside it."""

    value: Decimal | None
    unit: str
    low: Decimal | None = None
    high: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Work:
    """Everything typed for one piece of work."""

    readings: Mapping[str, Typed]
    looks: Mapping[str, str]
    own: Sequence[tuple[str, Typed]]
    details: Mapping[str, Any]
    done_on: date
    month_only: bool
    counts: Sequence[Count]
    house: Mapping[str, Decimal]


@dataclass(frozen=True, slots=True)
class Found:
    """Readings as they are stored, what was reckoned, and the result that they propose."""

    readings: list[dict[str, Any]]
    sum: Sum | None
    proposal: Word | None

    @property
    def outside(self) -> bool:
        """Whether a reading is outside its limits."""
        return any(row["outcome"] == Outcome.OUTSIDE for row in self.readings)


def judged(kind: KindOfWork, work: Work) -> Found:
    """Hold what was typed against its limits, make the kind's sum, and propose a result.

    Errors: WorkError naming the field and what to do.
    """
    rows = [row for wanted in kind.readings if (row := _row(wanted, work)) is not None]
    rows += [
        _judged_row(f"own_{number}", label, typed, (None, None), ("", ""))
        for number, (label, typed) in enumerate(work.own, 1)
    ]
    found = kind.reckon(_answered(rows, work)) if kind.reckon else None
    rows += [_of_derived(one) for one in found.derived] if found else []
    return Found(rows, found, proposed(Outcome(row["outcome"]) for row in rows))


def _answered(rows: list[dict[str, Any]], work: Work) -> Answered:
    return Answered(
        {name: (typed.value, typed.unit) for name, typed in work.readings.items()}, dict(work.details), work.done_on,
        work.month_only, work.counts,
        frozenset(row["name"] for row in rows if row["outcome"] == Outcome.UNLIMITED),
    )  # fmt: skip


def _row(wanted: Quantity | Look, work: Work) -> dict[str, Any] | None:
    if isinstance(wanted, Look):
        said = work.looks.get(wanted.name)
        if said is None:
            return None
        return _plain(wanted.name, str(wanted.label), said, ("", "", ""), _OF_LOOK[said])
    typed = work.readings.get(wanted.name)
    if typed is None:
        return None
    low, low_from = _limit(wanted.low, typed.low, typed.unit)
    high, high_from = _limit(wanted.high, typed.high, typed.unit)
    if low is None and wanted.house_low and typed.unit == wanted.units[0]:
        low, low_from = work.house[wanted.house_low], say("house rule")
    return _judged_row(wanted.name, str(wanted.label), typed, (low, high), (low_from, high_from))


def _limit(usual: Limit | None, typed: Decimal | None, unit: str) -> tuple[Decimal | None, str]:
    if typed is not None:
        return typed, say("typed with the record")
    return (usual.within(unit), usual.source) if usual is not None else (None, "")


def _judged_row(
    name: str, label: str, typed: Typed, usual: tuple[Decimal | None, Decimal | None], sources: tuple[str, str]
) -> dict[str, Any]:
    low = typed.low if usual[0] is None else usual[0]
    high = typed.high if usual[1] is None else usual[1]
    try:
        outcome = judge(typed.value, low, high)
    except LimitError as error:
        raise WorkError(f"{name}_low", str(error)) from None
    source = "; ".join(dict.fromkeys(one for one in sources if one))
    if not source and (low is not None or high is not None):
        source = say("typed with the record")
    value = "" if typed.value is None else f"{typed.value:f}"
    sides = [side for side, limit in (("low", typed.low), ("high", typed.high)) if limit is not None]
    return _plain(name, label, value, (typed.unit, _text(low), _text(high)), outcome) | {
        "limit_source": source,
        "typed": sides,
    }


def _of_derived(one: Derived) -> dict[str, Any]:
    outcome = judge(one.value, one.low, one.high) if one.outcome is None else one.outcome
    value = "" if one.value is None else _text(one.value)
    row = _plain(one.name, one.label, value, (one.unit, _text(one.low), _text(one.high)), outcome)
    return row | {"limit_source": one.source, "reckoned": True}


def _plain(name: str, label: str, value: str, beside: tuple[str, str, str], outcome: Outcome) -> dict[str, Any]:
    unit, low, high = beside
    return {
        "name": name,
        "label": label,
        "value": value,
        "unit": unit,
        "low": low,
        "high": high,
        "outcome": str(outcome),
    }


def _text(number: Decimal | None) -> str:
    """Return a number without an endless tail: six decimals are finer than any gauge here."""
    if number is None:
        return ""
    if -int(number.as_tuple().exponent) <= PLACES:
        return f"{number:f}"
    return f"{number:.{PLACES}f}".rstrip("0").rstrip(".")
