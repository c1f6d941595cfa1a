"""A line through points by least squares, kept as sums so that two of them can be joined."""

from __future__ import annotations

from dataclasses import dataclass
from math import fsum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence


@dataclass(frozen=True, slots=True)
class Fit:
    """Number of points, their mean minute and depth, and the sums of squares and products about the means."""

    count: int
    mean_minute: float
    mean_depth: float
    squares: float
    products: float

    @classmethod
    def of(cls, points: Sequence[tuple[float, float]]) -> Fit:
        """Return the sums of points (minute, fsw)."""
        count = len(points)
        minute = fsum(one[0] for one in points) / count
        depth = fsum(one[1] for one in points) / count
        squares = fsum((one[0] - minute) ** 2 for one in points)
        products = fsum((one[0] - minute) * (one[1] - depth) for one in points)
        return cls(count, minute, depth, squares, products)

    def __add__(self, other: Fit) -> Fit:
        """Return the sums of both."""
        count = self.count + other.count
        share = other.count / count
        apart, deeper = other.mean_minute - self.mean_minute, other.mean_depth - self.mean_depth
        weight = self.count * share
        return Fit(
            count,
            self.mean_minute + apart * share,
            self.mean_depth + deeper * share,
            self.squares + other.squares + apart * apart * weight,
            self.products + other.products + apart * deeper * weight,
        )

    @property
    def slope(self) -> float:
        """The slope in fsw/min; 0 for a single point."""
        return self.products / self.squares if self.squares > 0 else 0.0

    def at(self, minute: float) -> float:
        """Return the depth of the line at a minute."""
        return self.mean_depth + self.slope * (minute - self.mean_minute)

    def line(self, *, flat: bool) -> tuple[float, float]:
        """Return slope and depth at minute 0; ``flat``: of the level line through the mean."""
        slope = 0.0 if flat else self.slope
        return slope, self.mean_depth - slope * self.mean_minute
