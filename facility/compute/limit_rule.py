"""Where the bounds, the last value and this value stand on the rule drawn beside a reading.

Places are percent across. Two bounds stand at 30 and 70; a single lower one at 30, a
single upper one at 70, with as much room beyond as the bound is from nothing. What lies
far outside is drawn at the edge.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

LOW_AT, HIGH_AT = Decimal(30), Decimal(70)
FIRST, LAST = Decimal(4), Decimal(96)


@dataclass(frozen=True, slots=True)
class LimitRule:
    """Places in percent; None: not drawn."""

    low: float | None
    high: float | None
    last: float | None
    now: float | None


def limit_rule(
    low: Decimal | None, high: Decimal | None, last: Decimal | None, now: Decimal | None
) -> LimitRule | None:
    """Return the places on the rule, None where no limits are set.

    Units: all values in the unit of the reading; result in percent of the width.

    >>> limit_rule(Decimal(20), Decimal(22), Decimal(21), Decimal(30))
    LimitRule(low=30.0, high=70.0, last=50.0, now=96.0)
    """
    if low is None and high is None:
        return None
    if low is not None and high is not None:
        start, at, span = low, LOW_AT, (high - low) or _span(low)
    elif low is not None:
        start, at, span = low, LOW_AT, _span(low)
    else:
        start, at, span = high or Decimal(0), HIGH_AT, _span(high or Decimal(0))

    def place(value: Decimal | None) -> float | None:
        if value is None:
            return None
        across = at + (HIGH_AT - LOW_AT) * (value - start) / span
        return float(round(min(max(across, FIRST), LAST), 2))

    return LimitRule(place(low), place(high), place(last), place(now))


def _span(bound: Decimal) -> Decimal:
    return abs(bound) or Decimal(1)
