"""The temperature that a pressure is reckoned at where nobody measured one. Degrees Celsius.

A pressure without a temperature does not tell an amount. What counts of a bank is reckoned so that it is never more
than the facts bear out; what two readings differ by is reckoned at one temperature, and said to be so.
"""

from __future__ import annotations

from bisect import bisect_left
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

#: the temperature of the state in which litres are stated; used where nothing better is known
STATED_C = 15.0


def counted_c(last_measured_c: float | None) -> float:
    """Return the temperature at which a pressure counts: that last measured, never colder than 15 degC.

    Warmer gas at one pressure is less gas, so what counts never grows by this.

    >>> counted_c(None), counted_c(8.0), counted_c(31.5)
    (15.0, 15.0, 31.5)
    """
    return STATED_C if last_measured_c is None else max(STATED_C, last_measured_c)


def nearest_c(measured: Sequence[tuple[datetime, float]], at: datetime) -> float:
    """Return the temperature measured nearest in time, the earlier of two as near; 15 degC where none was.

    ``measured``: instants rising, with the temperature then.
    """
    if not measured:
        return STATED_C
    place = bisect_left(measured, at, key=lambda one: one[0])
    around = measured[max(place - 1, 0) : place + 1]
    return min(around, key=lambda one: abs(one[0] - at))[1]
