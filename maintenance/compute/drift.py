"""Drift of an instrument: a straight line through its as-found errors, with uncertainty, and where it leaves its limits."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, sqrt
from statistics import fmean
from typing import TYPE_CHECKING

from maintenance.compute.distributions import coverage_factor

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

FEWEST = 2
STEPS = 2_000
HALVINGS = 100


class DriftError(ValueError):
    """Points through which no line can be laid."""


@dataclass(frozen=True, slots=True)
class Line:
    """Least-squares line: value = intercept + slope x (time - origin); standard uncertainties, correlation, scatter.

    With two points nothing is left to judge the scatter by: uncertainties are then infinite.
    """

    origin: float
    intercept: float
    slope: float
    u_intercept: float
    u_slope: float
    correlation: float
    scatter: float
    freedom: int

    def at(self, time: float) -> float:
        """Return the value of the line at ``time``."""
        return self.intercept + self.slope * (time - self.origin)

    def u_at(self, time: float) -> float:
        """Return the standard uncertainty of the line at ``time``.

        Source: JCGM 100:2008, H.3.4, equation H.14 and H.15.
        """
        if self.freedom == 0:
            return inf
        away = time - self.origin
        cross = 2 * away * self.correlation * self.u_intercept * self.u_slope
        return sqrt(max(0.0, self.u_intercept**2 + (away * self.u_slope) ** 2 + cross))


def fit(times: Sequence[float], values: Sequence[float], origin: float = 0.0) -> Line:
    """Return the least-squares line through points of equal weight.

    Units: any; slope in value per time. Errors: DriftError with fewer than two times.
    Source: JCGM 100:2008, H.3.2, equations H.13.
    """
    if len(times) != len(values):
        raise DriftError(f"{len(times)} times for {len(values)} values. Give one value for each time.")
    if len(times) < FEWEST or max(times) == min(times):
        raise DriftError(f"{len(times)} points: a line needs at least two calibrations at different times.")
    shifted = [time - origin for time in times]
    middle, level = fmean(shifted), fmean(values)
    spread = sum((x - middle) ** 2 for x in shifted)
    slope = sum((x - middle) * (y - level) for x, y in zip(shifted, values, strict=True)) / spread
    intercept = level - slope * middle
    freedom = len(times) - 2
    squares = sum((y - intercept - slope * x) ** 2 for x, y in zip(shifted, values, strict=True))
    scatter = sqrt(squares / freedom) if freedom else 0.0
    mean_square = sum(x * x for x in shifted) / len(times)
    return Line(
        origin,
        intercept,
        slope,
        scatter * sqrt(mean_square / spread) if freedom else inf,
        scatter / sqrt(spread) if freedom else inf,
        -middle / sqrt(mean_square) if mean_square else 0.0,
        scatter,
        freedom,
    )


def crossing(line: Line, limit: float, after: float) -> float | None:
    """Return when the size of the line first reaches ``limit`` at or after ``after``; None if it never does.

    Units: time as the line's.
    """
    if abs(line.at(after)) >= limit:
        return after
    if line.slope == 0:
        return None
    border = limit if line.slope > 0 else -limit
    return line.origin + (border - line.intercept) / line.slope


def crossing_with_uncertainty(line: Line, limit: float, after: float, confidence: float) -> float | None:
    """Return when |line| + U of the line first reaches ``limit`` at or after ``after``; None if it never does.

    U by Student's t of the line's degrees of freedom. Never later than crossing().
    """
    if line.freedom == 0:
        return None
    k = coverage_factor(confidence, line.freedom)

    def beyond(time: float) -> bool:
        return abs(line.at(time)) + k * line.u_at(time) >= limit

    if beyond(after):
        return after
    end = _end_of_search(line, limit, after, k)
    return None if end is None else _first(beyond, after, end)


def _end_of_search(line: Line, limit: float, after: float, k: float) -> float | None:
    """Return a time at which the limit has been reached for certain, None if it never is."""
    if line.slope != 0:
        return crossing(line, limit, after)
    if line.u_slope == 0:
        return None
    centre = line.origin - line.correlation * line.u_intercept / line.u_slope
    return max(after, centre) + limit / (k * line.u_slope)


def _first(beyond: Callable[[float], bool], start: float, end: float) -> float:
    """Return the first time beyond: found by steps, then halved."""
    step = (end - start) / STEPS
    number = next((one for one in range(1, STEPS) if beyond(start + step * one)), STEPS)
    low, high = start + step * (number - 1), start + step * number
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        low, high = (low, middle) if beyond(middle) else (middle, high)
    return high
