"""Verdicts that take the uncertainty into account. The rule is chosen before measuring."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from maintenance.compute.distributions import normal_probability, normal_quantile

if TYPE_CHECKING:
    from decimal import Decimal


class DecisionError(ValueError):
    """A verdict that cannot be given."""


class Rule(StrEnum):
    """Decision rules of JCGM 106:2012 and ILAC-G8:09/2019."""

    SIMPLE = "simple"
    GUARDED = "guarded"
    NON_BINARY = "non-binary"


class Verdict(StrEnum):
    """What a rule says of one error."""

    PASSED = "pass"
    CONDITIONALLY_PASSED = "conditional pass"
    CONDITIONALLY_FAILED = "conditional fail"
    FAILED = "fail"
    TOO_UNCERTAIN = "not judged: uncertainty too large"


@dataclass(frozen=True, slots=True)
class Decision:
    """A rule with its guard band w = ``guard_factor`` x U and, for simple acceptance, the largest U allowed."""

    rule: Rule
    guard_factor: float = 1.0
    largest_u: float | None = None


def verdict(error: Decimal, limit: Decimal, expanded: float, decision: Decision) -> Verdict:
    """Judge one error against plus and minus ``limit``; an error exactly at a border passes it.

    Units: all in the unit of the error.
    Errors: DecisionError if the limit is not more than 0.
    Source: JCGM 106:2012, 8.2.3, 8.3.2; ILAC-G8:09/2019.
    """
    if limit <= 0:
        raise DecisionError(f"Limit {limit}: it must be more than 0. Take it from the class, grade or own limit.")
    size = abs(error)
    if decision.rule is Rule.SIMPLE:
        if decision.largest_u is not None and expanded > decision.largest_u:
            return Verdict.TOO_UNCERTAIN
        return Verdict.PASSED if size <= limit else Verdict.FAILED
    guard = decision.guard_factor * expanded
    if decision.rule is Rule.GUARDED:
        return Verdict.PASSED if float(size) <= float(limit) - guard else Verdict.FAILED
    return _non_binary(size, limit, guard)


def _non_binary(size: Decimal, limit: Decimal, guard: float) -> Verdict:
    if float(size) <= float(limit) - guard:
        return Verdict.PASSED
    if size <= limit:
        return Verdict.CONDITIONALLY_PASSED
    return Verdict.CONDITIONALLY_FAILED if float(size) <= float(limit) + guard else Verdict.FAILED


def guarded_limit(limit: Decimal, expanded: float, guard_factor: float = 1.0) -> float:
    """Return the largest error that guarded acceptance takes; below 0 nothing can pass."""
    return float(limit) - guard_factor * expanded


def conformance(measured: float, standard: float, low: float | None, high: float | None) -> float:
    """Return the probability that the true value lies within the limits.

    Units: all in one unit; ``standard`` is the standard uncertainty; None for no limit on a side.
    Errors: DecisionError if the uncertainty is negative or the limits are crossed.
    Source: JCGM 106:2012, 7.2 and 7.3, normal density.
    """
    if not standard >= 0:
        raise DecisionError(f"Standard uncertainty {standard}: it must be 0 or more.")
    if low is not None and high is not None and low > high:
        raise DecisionError(f"Limits {low} to {high} are crossed. Give the lower one first.")
    if standard == 0:
        inside = (low is None or measured >= low) and (high is None or measured <= high)
        return float(inside)
    above = normal_probability((high - measured) / standard) if high is not None else 1.0
    below = normal_probability((low - measured) / standard) if low is not None else 0.0
    return max(0.0, above - below)


def acceptance_limit(limit: float, relative_standard: float, probability: float) -> float:
    """Return the measured value from which a lower ``limit`` is met with ``probability``.

    ``relative_standard`` is the standard uncertainty as a fraction of the measured value.
    Errors: DecisionError if the uncertainty is so large that no value suffices.
    Source: JCGM 106:2012, 8.3.2, examples with a relative uncertainty.
    """
    share = 1 - normal_quantile(probability) * relative_standard
    if share <= 0:
        raise DecisionError(f"Relative uncertainty {relative_standard}: no value meets probability {probability}.")
    return limit / share


def uncertainty_ratio(limit: float, reference_expanded: float) -> float | None:
    """Return the test uncertainty ratio: limit over the expanded uncertainty of the reference; None if that is 0."""
    return limit / reference_expanded if reference_expanded > 0 else None
