"""Oxygen dose of a breathing history: pulmonary dose, central nervous fraction, ESOT; each ramp by its exact integral.

A dose is a figure for the record, shown with its convention. It is never advice and no limit for a patient.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import fsum, isfinite, log
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from treatments.compute.tables import Segment

#: relative change of pressure below which a ramp is computed at its mean: the closed form would lose digits
FLAT = 1e-7


class DoseError(ValueError):
    """An exposure that no dose can be computed of: what, which value, what is allowed."""


@dataclass(frozen=True, slots=True)
class Convention:
    """How a depth becomes an absolute pressure: depth that adds one unit, and pressure at the surface in that unit."""

    title: str
    depth_per_unit: float
    surface: float

    def absolute(self, depth: float) -> float:
        """Return the absolute pressure in the unit of the convention (ata, atm or bar)."""
        return self.surface + depth / self.depth_per_unit


@dataclass(frozen=True, slots=True)
class PulmonaryLaw:
    """Threshold in ata and exponent of the pulmonary dose."""

    threshold: float
    exponent: float


@dataclass(frozen=True, slots=True)
class CnsLimits:
    """Longest single exposures: (oxygen pressure in ata, minutes), straight lines between."""

    points: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class EsotLaw:
    """Exponent of the ESOT index, and the pressure at and below which time is left out."""

    exponent: float
    threshold: float


@dataclass(frozen=True, slots=True)
class Exposure:
    """Oxygen pressure running straight from ``start`` to ``end`` (ata) in ``minutes``."""

    start: float
    end: float
    minutes: float

    def __post_init__(self) -> None:
        """Refuse what is no exposure."""
        for what, value in (("oxygen pressure", self.start), ("oxygen pressure", self.end), ("minutes", self.minutes)):
            if not (isfinite(value) and value >= 0):
                raise DoseError(f"{what}: {value} is not taken. Allowed: a finite number, 0 or more.")

    def part(self, low: float, high: float) -> Exposure | None:
        """Return the part with the pressure between ``low`` and ``high``, None if it takes no time."""
        if self.start == self.end:
            return self if low <= self.start < high else None
        bottom, top = sorted((self.start, self.end))
        bottom, top = max(bottom, low), min(top, high)
        if bottom >= top:
            return None
        share = (top - bottom) / abs(self.end - self.start)
        ends = (bottom, top) if self.start < self.end else (top, bottom)
        return Exposure(*ends, self.minutes * share)


def exposures(
    segments: Iterable[Segment], fractions: Mapping[str, float], convention: Convention
) -> tuple[Exposure, ...]:
    """Return the oxygen pressures of segments. Errors: DoseError for a gas without a fraction."""
    found = []
    for one in segments:
        fraction = fractions.get(one.gas)
        if fraction is None:
            raise DoseError(f"gas: {one.gas!r} is not taken. Allowed: one of {', '.join(fractions)}.")
        start, end = convention.absolute(one.start_fsw), convention.absolute(one.end_fsw)
        found.append(Exposure(fraction * start, fraction * end, one.minutes))
    return tuple(found)


def pulmonary_dose(history: Iterable[Exposure], law: PulmonaryLaw) -> float:
    """Return the unit pulmonary toxic dose (UPTD): the integral of ((p - t) / t) ** exponent over time.

    Units: pressures ata, minutes; result UPTD, 1 for a minute at 1 ata with threshold 0.5.
    Source: treatments/reference/dose.toml [pulmonary]. Valid: each exposure a straight ramp, cut at the threshold.

    >>> round(pulmonary_dose([Exposure(1.0, 1.0, 60)], PulmonaryLaw(0.5, 5 / 6)), 6)
    60.0
    """
    threshold, power = law.threshold, law.exponent

    def rate(pressure: float) -> float:
        return float(max(0.0, (pressure - threshold) / threshold) ** power)

    def whole(pressure: float) -> float:
        return threshold / (power + 1) * float(((pressure - threshold) / threshold) ** (power + 1))

    return _integral(history, threshold, rate, whole)


def esot(history: Iterable[Exposure], law: EsotLaw) -> float:
    """Return the ESOT index: the integral of p ** exponent over the time above the threshold.

    Units: pressures atm, minutes; result minutes at 1 atm.
    Source: treatments/reference/dose.toml [esot], from memory. Valid: an extra figure, not a limit.
    """
    power = law.exponent
    return _integral(
        history,
        law.threshold,
        lambda pressure: float(pressure**power),
        lambda pressure: float(pressure ** (power + 1)) / (power + 1),
    )


def cns_fraction(history: Sequence[Exposure], limits: CnsLimits) -> float | None:
    """Return the fraction used of the single-exposure limits of divers at work, None if outside the table.

    Units: pressures ata, minutes; result 1. The limits do not apply to a patient at rest in a dry chamber;
    a pressure above the last row has no percentage.
    Source: treatments/reference/dose.toml [cns]. Valid: from the first row on; below it nothing is used.

    >>> round(cns_fraction([Exposure(1.3, 1.3, 30)], CnsLimits(((1.2, 210.0), (1.3, 180.0)))), 4)
    0.1667
    """
    highest = limits.points[-1][0]
    if any(max(one.start, one.end) > highest and one.minutes > 0 for one in history):
        return None
    used = []
    for one in history:
        if one.start == one.end:
            used.append(_used_flat(one, limits))
            continue
        for below, above in zip(limits.points, limits.points[1:], strict=False):
            part = one.part(below[0], above[0])
            if part is not None:
                used.append(_used(part, below, above))
    return fsum(used)


def _used_flat(one: Exposure, limits: CnsLimits) -> float:
    for below, above in zip(limits.points, limits.points[1:], strict=False):
        if below[0] < one.start <= above[0]:
            return one.minutes / _between(one.start, below, above)
    return 0.0


def _used(part: Exposure, below: tuple[float, float], above: tuple[float, float]) -> float:
    """Integrate time over the limit along a ramp inside one straight line of the limits."""
    first, last = _between(part.start, below, above), _between(part.end, below, above)
    if abs(last - first) <= FLAT * first:
        return part.minutes / ((first + last) / 2)
    return part.minutes * log(last / first) / (last - first)


def _between(pressure: float, below: tuple[float, float], above: tuple[float, float]) -> float:
    return below[1] + (above[1] - below[1]) * (pressure - below[0]) / (above[0] - below[0])


def _integral(
    history: Iterable[Exposure],
    threshold: float,
    rate: Callable[[float], float],
    whole: Callable[[float], float],
) -> float:
    """Sum a law over exposures. ``whole`` is an antiderivative of ``rate`` above the threshold."""
    found = []
    for one in history:
        part = one.part(threshold, float("inf"))
        if part is None or (part.start == part.end and part.start <= threshold):
            continue
        rise = part.end - part.start
        if abs(rise) <= FLAT * max(part.start, part.end):
            found.append(part.minutes * rate((part.start + part.end) / 2))
        else:
            found.append(part.minutes * (whole(part.end) - whole(part.start)) / rise)
    return fsum(found)
