"""A history with adjustments brought to one level, so that drift is told from what an adjustment did."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence


@dataclass(frozen=True, slots=True)
class Found:
    """One calibration: when, the error as found, and the error as left where it was adjusted.

    Units: ``months`` from the first calibration; errors and ``expanded`` in the unit of the readings.
    """

    months: float
    error: float
    left: float | None = None
    expanded: float | None = None

    @property
    def jump(self) -> float:
        """What the adjustment did: error as left less error as found; 0 without one."""
        return 0.0 if self.left is None else self.left - self.error


def shifts(history: Sequence[Found]) -> tuple[float, ...]:
    """Return for each calibration what later adjustments, its own included, moved the instrument by.

    Added to the error as found it gives the error at the present level: the drift of the times before goes on from
    where the last adjustment left it. What an adjustment does is no drift.

    >>> shifts([Found(0, 0.0), Found(12, 0.1, left=0.0), Found(24, 0.1)])
    (-0.1, -0.1, 0.0)
    """
    total, found = 0.0, []
    for one in reversed(history):
        total += one.jump
        found.append(total)
    return tuple(reversed(found))


def levelled(history: Sequence[Found]) -> tuple[float, ...]:
    """Return the errors as found at the present level."""
    return tuple(one.error + shift for one, shift in zip(history, shifts(history), strict=True))
