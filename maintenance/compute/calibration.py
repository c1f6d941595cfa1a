"""Calibration of a gauge or other indicating instrument: errors, hysteresis, zero, repeatability, verdict.

Differences are taken in decimal as typed. Error is indication minus reference.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from maintenance.compute.decisions import Decision, Verdict, conformance, guarded_limit, uncertainty_ratio, verdict
from maintenance.compute.gauge_limits import limit_at
from maintenance.compute.uncertainty import Component, Shape, combine

if TYPE_CHECKING:
    from collections.abc import Sequence
    from decimal import Decimal

    from maintenance.compute.gauge_limits import Limits, Scale
    from maintenance.compute.uncertainty import Budget


class CalibrationError(ValueError):
    """Readings that make no calibration."""


@dataclass(frozen=True, slots=True)
class Point:
    """Reference value and what the instrument showed: going up, coming down, and again going up."""

    reference: Decimal
    up: Decimal
    down: Decimal | None = None
    up_again: Decimal | None = None

    @property
    def error_up(self) -> Decimal:
        """Error going up."""
        return self.up - self.reference

    @property
    def error_down(self) -> Decimal | None:
        """Error coming down, None where it was not read."""
        return None if self.down is None else self.down - self.reference

    @property
    def worst(self) -> Decimal:
        """The error of largest size among all readings of this point."""
        readings = [one for one in (self.up, self.down, self.up_again) if one is not None]
        return max((one - self.reference for one in readings), key=abs)

    @property
    def hysteresis(self) -> Decimal | None:
        """Size of the difference between down and up, None where down was not read."""
        return None if self.down is None else abs(self.down - self.up)


@dataclass(frozen=True, slots=True)
class Means:
    """What the comparison was made with; all in the unit of the readings.

    ``reference_drift`` is the half-width of what the reference may have drifted since its own certificate.
    """

    reference_expanded: float
    reference_k: float
    resolution: float
    zero_shift: float = 0.0
    reference_drift: float = 0.0
    others: tuple[Component, ...] = field(default=())


@dataclass(frozen=True, slots=True)
class PointResult:
    """One point judged."""

    point: Point
    limit: Decimal
    verdict: Verdict
    conformance: float


@dataclass(frozen=True, slots=True)
class CalibrationResult:
    """All points, the worst one, and what the whole comes to."""

    points: tuple[PointResult, ...]
    worst: PointResult
    hysteresis: Decimal
    repeatability: Decimal
    budget: Budget
    guarded_limit: float
    ratio: float | None
    verdict: Verdict


_ORDER = list(Verdict)  # from best to worst


def points_from(
    reference: Sequence[Decimal], up: Sequence[Decimal], down: Sequence[Decimal], up_again: Sequence[Decimal]
) -> tuple[Point, ...]:
    """Return the points of parallel lists; ``down`` and ``up_again`` may be empty.

    Errors: CalibrationError where a list has another length than the references.
    """
    for name, values in (("up", up), ("down", down), ("up_again", up_again)):
        if (values or name == "up") and len(values) != len(reference):
            raise CalibrationError(
                f"{name}: {len(values)} readings for {len(reference)} reference values. Give one for each."
            )
    none: list[Decimal | None] = [None] * len(reference)
    return tuple(map(Point, reference, up, down or none, up_again or none))


def with_head(points: Sequence[Point], correction: Decimal) -> tuple[Point, ...]:
    """Return the points with the head correction added to each reference value."""
    return tuple(Point(one.reference + correction, one.up, one.down, one.up_again) for one in points)


def largest_hysteresis(points: Sequence[Point]) -> Decimal:
    """Return the largest hysteresis of all points, 0 where down was never read."""
    zero = points[0].up - points[0].up
    return max((one.hysteresis for one in points if one.hysteresis is not None), default=zero)


def largest_spread(points: Sequence[Point]) -> Decimal:
    """Return the largest difference between the two runs up, each taken from its own first reading; 0 with one run."""
    zero = points[0].up - points[0].up
    first = points[0]
    shift = zero if first.up_again is None else first.up_again - first.up
    return max((abs(one.up_again - one.up - shift) for one in points if one.up_again is not None), default=zero)


def budget_of(points: Sequence[Point], means: Means, confidence: float) -> Budget:
    """Return the uncertainty of an error of this calibration.

    Half of hysteresis, zero shift, resolution and repeatability are half-widths of rectangles.
    Source: JCGM 100:2008, 4.3.7; the choice of components is in maintenance/reference/gauges.toml.
    """
    halves = {
        "resolution": means.resolution,
        "hysteresis": float(largest_hysteresis(points)),
        "zero": means.zero_shift,
        "repeatability": float(largest_spread(points)),
    }
    components = [
        Component("reference", means.reference_expanded, Shape.NORMAL, k=means.reference_k),
        *(Component(name, value / 2) for name, value in halves.items()),
        Component("drift of the reference", means.reference_drift),
        *means.others,
    ]
    return combine(tuple(components), confidence)


def calibrated(
    points: Sequence[Point], scale: Scale, limits: Limits, means: Means, choice: tuple[Decision, float]
) -> CalibrationResult:
    """Judge one run of a calibration, as found or as left.

    ``choice`` is the decision rule, chosen before measuring, and the confidence of U.
    Units: one unit throughout. Errors: CalibrationError without points; those of its parts.
    Source: JCGM 100:2008, JCGM 106:2012, EN 837-1, ASME B40.100 as cited in each part.
    """
    if not points:
        raise CalibrationError("No points: a calibration needs at least one reference value with a reading.")
    decision, confidence = choice
    budget = budget_of(points, means, confidence)
    judged = tuple(_judged(one, limit_at(limits, scale, one.reference), budget, decision) for one in points)
    worst = min(judged, key=lambda one: one.limit - abs(one.point.worst))
    tightest = min(one.limit for one in judged)
    return CalibrationResult(
        judged,
        worst,
        largest_hysteresis(points),
        largest_spread(points),
        budget,
        guarded_limit(worst.limit, budget.expanded, decision.guard_factor),
        uncertainty_ratio(float(tightest), means.reference_expanded),
        max((one.verdict for one in judged), key=_ORDER.index),
    )


def _judged(point: Point, limit: Decimal, budget: Budget, decision: Decision) -> PointResult:
    chance = conformance(float(point.worst), budget.combined, -float(limit), float(limit))
    return PointResult(point, limit, verdict(point.worst, limit, budget.expanded, decision), chance)


def head_correction(density: float, air_density: float, gravity: float, height_m: float) -> float:
    """Return what to add to the pressure at the reference to have it at the gauge.

    Units: densities kg/m3, gravity m/s2, ``height_m`` m that the reference is above the gauge; result kPa.
    Source: hydrostatics; EURAMET cg-17 asks that the level difference be taken into account.
    """
    return (density - air_density) * gravity * height_m / 1000
