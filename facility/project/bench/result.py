"""What a benchmark found."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Result:
    """One figure beside its limit; both in ``unit``, and less is better.

    >>> Result("second start", measured=1.5, limit=3.0, unit="s").ratio
    0.5
    """

    name: str
    measured: float
    limit: float
    unit: str
    note: str = ""

    @property
    def ratio(self) -> float:
        """Measured over limit: at most 1 is within."""
        return self.measured / self.limit

    @property
    def within(self) -> bool:
        """Whether the limit is kept."""
        return self.ratio <= 1
