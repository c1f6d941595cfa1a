"""Quantiles that the standard library lacks: Student's t, chi-square, Poisson and binomial tails.

Accuracy: better than 1e-9 relative for the probabilities and degrees of freedom that
calibration and reliability use (1e-6 to 1 - 1e-6; up to 10 000), held by tests.
"""

from __future__ import annotations

from math import comb, exp, inf, isinf, lgamma, log, log1p
from statistics import NormalDist
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

_TINY = 1e-300
_CLOSE = 1e-15
_MOST_TERMS = 100_000
_HALVINGS = 200


class ProbabilityError(ValueError):
    """A probability or degree of freedom that has no quantile."""


def normal_probability(z: float) -> float:
    """Return the probability below ``z`` of a standard normal variable."""
    return NormalDist().cdf(z)


def normal_quantile(probability: float) -> float:
    """Return z with this probability below it. Errors: ProbabilityError outside 0 to 1."""
    _check(probability, 1.0)
    return NormalDist().inv_cdf(probability)


def t_probability(t: float, freedom: float) -> float:
    """Return the probability below ``t`` of Student's t with ``freedom`` degrees of freedom (inf: normal)."""
    if isinf(freedom):
        return normal_probability(t)
    if t * t < freedom:  # near the middle the tail would be the difference of two like numbers
        half = 0.5 * _incomplete_beta(0.5, freedom / 2, t * t / (freedom + t * t))
        return 0.5 + half if t > 0 else 0.5 - half
    tail = 0.5 * _incomplete_beta(freedom / 2, 0.5, freedom / (freedom + t * t))
    return 1 - tail if t > 0 else tail


def t_quantile(probability: float, freedom: float) -> float:
    """Return t with this probability below it. Errors: ProbabilityError."""
    _check(probability, freedom)
    if isinf(freedom):
        return normal_quantile(probability)
    if probability < 0.5:  # noqa: PLR2004  the middle
        return -t_quantile(1 - probability, freedom)
    return _found(lambda t: t_probability(t, freedom), probability)


def coverage_factor(confidence: float, freedom: float) -> float:
    """Return k so that plus and minus k cover ``confidence`` of Student's t.

    Source: JCGM 100:2008, annex G.

    >>> round(coverage_factor(0.99, 16), 2)
    2.92
    """
    return t_quantile((1 + confidence) / 2, freedom)


def chi_square_probability(value: float, freedom: float) -> float:
    """Return the probability below ``value`` of chi-square."""
    return _incomplete_gamma(freedom / 2, value / 2)


def chi_square_quantile(probability: float, freedom: float) -> float:
    """Return the value with this probability below it. Errors: ProbabilityError."""
    _check(probability, freedom)
    return _found(lambda value: chi_square_probability(value, freedom), probability)


def poisson_at_most(count: int, mean: float) -> float:
    """Return the probability of at most ``count`` events."""
    term = total = exp(-mean)
    for number in range(1, count + 1):
        term *= mean / number
        total += term
    return min(1.0, total)


def at_least(wanted: int, of: int, probability: float) -> float:
    """Return the probability that at least ``wanted`` of ``of`` independent items are good."""
    return sum(comb(of, k) * probability**k * (1 - probability) ** (of - k) for k in range(wanted, of + 1))


def _check(probability: float, freedom: float) -> None:
    if not 0 < probability < 1:
        raise ProbabilityError(f"Probability {probability}: it must be more than 0 and less than 1.")
    if not freedom > 0:
        raise ProbabilityError(f"Degrees of freedom {freedom}: they must be more than 0.")


def _found(probability_of: Callable[[float], float], wanted: float) -> float:
    """Return the positive value of this probability: doubled until above, then halved."""
    low, high = 0.0, 1.0
    while probability_of(high) < wanted and high < inf:
        low, high = high, high * 2
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        if middle in (low, high):
            break
        low, high = (middle, high) if probability_of(middle) < wanted else (low, middle)
    return (low + high) / 2


def _incomplete_gamma(shape: float, x: float) -> float:
    """Return the regularised lower incomplete gamma function, by series or continued fraction."""
    if x <= 0:
        return 0.0
    front = exp(shape * log(x) - x - lgamma(shape))
    if x < shape + 1:
        return front * _gamma_series(shape, x)
    return 1 - front * _gamma_fraction(shape, x)


def _gamma_series(shape: float, x: float) -> float:
    number, term = 0, 1 / shape
    total = term
    while term > total * _CLOSE:
        number += 1
        term *= x / (shape + number)
        total += term
    return total


def _gamma_fraction(shape: float, x: float) -> float:
    b = x + 1 - shape
    c, d = 1 / _TINY, 1 / b
    value, number, change = d, 0, 0.0
    while abs(change - 1) > _CLOSE and number < _MOST_TERMS:
        number += 1
        a = -number * (number - shape)
        b += 2
        d = 1 / _not_zero(a * d + b)
        c = _not_zero(b + a / c)
        change = c * d
        value *= change
    return value


def _incomplete_beta(a: float, b: float, x: float) -> float:
    """Return the regularised incomplete beta function, by continued fraction."""
    if x <= 0:
        return 0.0
    front = exp(lgamma(a + b) - lgamma(a) - lgamma(b) + a * log(x) + b * log1p(-x))
    if x < (a + 1) / (a + b + 2):
        return front * _beta_fraction(a, b, x) / a
    return 1 - front * _beta_fraction(b, a, 1 - x) / b


def _beta_fraction(a: float, b: float, x: float) -> float:
    c, d = 1.0, 1 / _not_zero(1 - (a + b) * x / (a + 1))
    value, number, change = d, 0, 0.0
    while abs(change - 1) > _CLOSE and number < _MOST_TERMS:
        number += 1
        even = number * (b - number) * x / ((a + 2 * number - 1) * (a + 2 * number))
        odd = -(a + number) * (a + b + number) * x / ((a + 2 * number) * (a + 2 * number + 1))
        for part in (even, odd):
            d = 1 / _not_zero(1 + part * d)
            c = _not_zero(1 + part / c)
            change = c * d
            value *= change
    return value


def _not_zero(value: float) -> float:
    return value if abs(value) > _TINY else _TINY
