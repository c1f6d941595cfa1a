"""Reliability in plain numbers: failure rates with bounds, spares, hidden failures, chances of being in date.

Counts and bounds are given, not only a point: with one failure or none only the lower bound says anything.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, expm1, log, prod
from typing import TYPE_CHECKING

from maintenance.compute.distributions import at_least, chi_square_quantile

if TYPE_CHECKING:
    from collections.abc import Sequence

FEW = 1
MOST_SPARES = 10_000


class ReliabilityError(ValueError):
    """Figures from which nothing can be said."""


@dataclass(frozen=True, slots=True)
class Mtbf:
    """Mean time between failures: point estimate and bounds; None where they would say too much."""

    point: float | None
    lower_one_sided: float
    lower: float | None
    upper: float | None


def mtbf(hours: float, failures: int, confidence: float) -> Mtbf:
    """Return the mean time between failures of a time-ended observation.

    Units: h. The two-sided bounds and the point are left out with one failure or none.
    Errors: ReliabilityError if no time has passed, or the confidence is not between 0 and 1.
    Source: NIST/SEMATECH e-Handbook 8.4.5.1.
    """
    if not hours > 0 or failures < 0 or not 0 < confidence < 1:
        raise ReliabilityError(f"{hours} h, {failures} failures, confidence {confidence}: no bound can be given.")
    alpha = 1 - confidence
    one_sided = 2 * hours / chi_square_quantile(confidence, 2 * failures + 2)
    if failures <= FEW:
        return Mtbf(None, one_sided, None, None)
    return Mtbf(
        hours / failures,
        one_sided,
        2 * hours / chi_square_quantile(1 - alpha / 2, 2 * failures + 2),
        2 * hours / chi_square_quantile(alpha / 2, 2 * failures),
    )


def lower_bound_without_failure(hours: float, confidence: float) -> float:
    """Return the one-sided lower bound with no failure: T / -ln(alpha). Units: h."""
    return hours / -log(1 - confidence)


def spares(mean: float, wanted: float) -> int:
    """Return the smallest stock that lasts through a lead time with probability ``wanted``.

    ``mean`` is the expected use in the lead time.
    Errors: ReliabilityError if no stock could suffice. Source: Poisson distribution.
    """
    if not 0 <= mean <= MOST_SPARES / 20 or not 0 < wanted < 1:
        raise ReliabilityError(
            f"Mean {mean}, wanted {wanted}: give 0 to {MOST_SPARES // 20}, and a share between 0 and 1."
        )
    term = total = exp(-mean)
    for count in range(MOST_SPARES):
        if total >= wanted:
            return count
        term *= mean / (count + 1)
        total += term
    raise ReliabilityError(f"Wanted {wanted}: no stock up to {MOST_SPARES} suffices. Take less than certainty.")


def hidden_unavailability(rate: float, interval: float) -> tuple[float, float]:
    """Return the mean unavailability of something whose failure shows only at its test: approximate and exact.

    Units: ``rate`` per h, ``interval`` h between tests.
    """
    load = rate * interval
    if load == 0:
        return 0.0, 0.0
    return load / 2, 1 + expm1(-load) / load


def run_success(hours: float, mean_hours: float) -> float:
    """Return the chance that something runs ``hours`` without failing. Units: h."""
    return exp(-hours / mean_hours)


def steady_availability(between: float, repair: float) -> float:
    """Return the share of time that something works. Units: both in h."""
    return between / (between + repair)


def all_in_date(chances: Sequence[float]) -> float:
    """Return the chance that all independent items are in date."""
    return prod(chances)


def enough_good(wanted: int, of: int, chance: float) -> float:
    """Return the chance that at least ``wanted`` of ``of`` like items are good."""
    return at_least(wanted, of, chance)
