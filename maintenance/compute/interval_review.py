"""Proposals for calibration intervals by named methods. A person decides; nothing is changed here."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from math import floor, log
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence
    from decimal import Decimal


class ReviewError(ValueError):
    """Figures from which no interval can be proposed."""


class Method(StrEnum):
    """Methods by the names of their guides."""

    STAIRCASE = "staircase"
    SIMPLE_RESPONSE = "A1 simple response"
    CLASSICAL = "S1 classical"
    CONTROL_CHART = "control chart"


class Ground(StrEnum):
    """Why a method proposes what it does."""

    WELL_INSIDE = "well inside its limit: a step longer"
    INSIDE = "inside its limit: unchanged"
    OUTSIDE = "outside its limit: a step shorter"
    IN_TOLERANCE = "in tolerance: a little longer"
    OUT_OF_TOLERANCE = "out of tolerance: much shorter"
    OBSERVED = "from the share found in tolerance"
    ALL_GOOD = "all were in tolerance: no proposal, the share is not known well enough"
    NONE_GOOD = "none was in tolerance: no proposal, find the cause first"
    DRIFT = "until the drift with its uncertainty reaches the limit"
    NO_DRIFT = "the drift does not reach the limit: no proposal"
    TOO_FEW = "too few calibrations for a line with uncertainty: no proposal"


@dataclass(frozen=True, slots=True)
class Proposal:
    """What a method proposes, None for nothing, and its ground. Unit: months."""

    method: Method
    months: float | None
    ground: Ground


def staircase(
    months: Decimal, error: Decimal, limit: Decimal, ladder: Sequence[Decimal], comfortable: Decimal
) -> Proposal:
    """Step up or down a ladder of intervals by the last as-found error.

    ``comfortable`` is the share of the limit up to which the interval may grow.
    Source: ILAC-G24, method of that name; the share from memory.
    """
    size = abs(error)
    if size > limit:
        shorter = [step for step in ladder if step < months]
        return Proposal(Method.STAIRCASE, float(max(shorter, default=min(months, *ladder))), Ground.OUTSIDE)
    if size <= comfortable * limit:
        longer = [step for step in ladder if step > months]
        return Proposal(Method.STAIRCASE, float(min(longer, default=months)), Ground.WELL_INSIDE)
    return Proposal(Method.STAIRCASE, float(months), Ground.INSIDE)


def decrement(increment: float, target: float) -> float:
    """Return b of the A1 method: how much shorter after a failure, so that ``target`` is held in the long run.

    From (1 + a)^R (1 - b)^(1 - R) = 1.
    Errors: ReviewError if ``increment`` is not above 0 or ``target`` not between 0 and 1.

    >>> round(decrement(0.10, 0.90), 3)
    0.576
    """
    if not increment > 0 or not 0 < target < 1:
        raise ReviewError(f"Increment {increment}, target {target}: give more than 0, and a share between 0 and 1.")
    return float(1 - (1 + increment) ** (-target / (1 - target)))


def simple_response(months: float, increment: float, target: float, *, in_tolerance: bool) -> Proposal:
    """Lengthen by a or shorten by b after each calibration. Source: NCSLI RP-1, A1; formula from memory."""
    if in_tolerance:
        return Proposal(Method.SIMPLE_RESPONSE, months * (1 + increment), Ground.IN_TOLERANCE)
    return Proposal(Method.SIMPLE_RESPONSE, months * (1 - decrement(increment, target)), Ground.OUT_OF_TOLERANCE)


def classical(months: float, good: int, tested: int, target: float) -> Proposal:
    """Fit an exponential to the share found in tolerance: I ln(target) / ln(observed).

    Errors: ReviewError if the counts make no share. Source: NCSLI RP-1, S1; formula from memory.
    """
    if not 0 <= good <= tested or tested == 0:
        raise ReviewError(f"{good} of {tested} in tolerance: give counts from 0 to the number tested, at least 1.")
    if good == tested:
        return Proposal(Method.CLASSICAL, None, Ground.ALL_GOOD)
    if good == 0:
        return Proposal(Method.CLASSICAL, None, Ground.NONE_GOOD)
    return Proposal(Method.CLASSICAL, months * log(target) / log(good / tested), Ground.OBSERVED)


def control_chart(crosses_at: float | None, last_at: float, freedom: int) -> Proposal:
    """Propose whole months from the last calibration until drift with uncertainty reaches the limit.

    ``crosses_at`` as drift.crossing_with_uncertainty() gives it. Source: ILAC-G24, method of that name.
    """
    if freedom == 0:
        return Proposal(Method.CONTROL_CHART, None, Ground.TOO_FEW)
    if crosses_at is None:
        return Proposal(Method.CONTROL_CHART, None, Ground.NO_DRIFT)
    return Proposal(Method.CONTROL_CHART, float(floor(crosses_at - last_at)), Ground.DRIFT)
