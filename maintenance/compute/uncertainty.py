"""Uncertainty budgets after the Guide to the expression of uncertainty in measurement (JCGM 100:2008)."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from math import floor, inf, isinf, sqrt

from maintenance.compute.distributions import coverage_factor


class BudgetError(ValueError):
    """A budget that cannot be summed."""


class Shape(StrEnum):
    """How a component's half-width or expanded uncertainty becomes a standard uncertainty."""

    NORMAL = "normal"  # divided by its coverage factor k
    STANDARD = "standard"  # is one already
    RECTANGULAR = "rectangular"  # divided by the root of 3
    TRIANGULAR = "triangular"  # divided by the root of 6
    U_SHAPED = "U-shaped"  # divided by the root of 2


_DIVISOR = {Shape.STANDARD: 1.0, Shape.RECTANGULAR: sqrt(3), Shape.TRIANGULAR: sqrt(6), Shape.U_SHAPED: sqrt(2)}


@dataclass(frozen=True, slots=True)
class Component:
    """One contribution: its value in its own unit, shape, sensitivity, and degrees of freedom (inf: well known)."""

    name: str
    value: float
    shape: Shape = Shape.RECTANGULAR
    k: float = 1.0
    sensitivity: float = 1.0
    freedom: float = inf

    @property
    def standard(self) -> float:
        """Return the contribution as a standard uncertainty of the result.

        Errors: BudgetError if the value is negative, or k is not more than 0.
        """
        if not self.value >= 0 or not self.k > 0:
            raise BudgetError(
                f"{self.name}: value {self.value}, k {self.k}. Give a value of 0 or more and a k above 0."
            )
        divisor = self.k if self.shape is Shape.NORMAL else _DIVISOR[self.shape]
        return abs(self.sensitivity) * self.value / divisor


@dataclass(frozen=True, slots=True)
class Budget:
    """Combined standard uncertainty, effective degrees of freedom (as computed and truncated), k and U."""

    components: tuple[Component, ...]
    combined: float
    freedom: float
    freedom_used: float
    k: float
    expanded: float


def combine(components: tuple[Component, ...], confidence: float) -> Budget:
    """Sum independent components and expand to ``confidence``.

    Units: those of the result. Effective degrees of freedom by Welch and Satterthwaite,
    truncated downwards, from unrounded components.
    Errors: BudgetError; ProbabilityError if ``confidence`` is not between 0 and 1.
    Source: JCGM 100:2008, 5.1.2, G.4.1, G.6.4.
    """
    squares = [one.standard**2 for one in components]
    combined = sqrt(sum(squares))
    freedom = effective_freedom(components, combined)
    used = freedom if isinf(freedom) else max(1.0, float(floor(freedom)))
    k = coverage_factor(confidence, used)
    return Budget(components, combined, freedom, used, k, k * combined)


def effective_freedom(components: tuple[Component, ...], combined: float) -> float:
    """Return the effective degrees of freedom, infinite where all components are well known."""
    below = sum((one.standard / combined) ** 4 / one.freedom for one in components) if combined > 0 else 0.0
    return 1 / below if below > 0 else inf
