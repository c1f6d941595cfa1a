"""What two pressures of a bank tell of the gas between them where a temperature was not measured. Litres at 15 degC.

Both are reckoned at one temperature, and the figure is told as a span: warmed or cooled by a few degrees from one
reading to the other, the bank would show the same pressures with another amount drawn.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from maintenance.compute.gas import COLDEST_C, WARMEST_C
from treatments.figures.sum import figure
from treatments.reference import figures

if TYPE_CHECKING:
    from collections.abc import Callable

    #: pressure [kPa gauge] and temperature [degC] to litres
    Content = Callable[[float, float], float]

#: a span wider than this is told in hundreds of litres, else in tens
WIDE_L = 1000


@dataclass(frozen=True, slots=True)
class Unmeasured:
    """The temperature taken for both readings [degC], and the span of what was drawn [L at 15 degC and 1 atm]."""

    taken_c: float
    low_litres: float
    high_litres: float


def apart_k() -> float:
    """Return by how much the gas may be warmer or colder at one reading than at the other [K]; a house figure."""
    return float(figures("supply")["unmeasured_apart"].number)


def span(content: Content, before_kpa: float, after_kpa: float, celsius: float) -> tuple[float, float]:
    """Return the least and the most that was drawn, the later reading colder or warmer than the first by ``apart_k``.

    Errors: as ``content``; temperatures are kept within the gas law.
    """
    held = content(before_kpa, celsius)
    ends = [min(max(celsius + side * apart_k(), COLDEST_C), WARMEST_C) for side in (-1, 1)]
    low, high = sorted(held - content(after_kpa, end) for end in ends)
    return low, high


def told(litres: float, low: float, high: float) -> str:
    """Return a figure that is only known as a span, rounded so that it promises no more: about 190, -40 to 420."""
    step = 100 if high - low > WIDE_L else 10
    return _("about %(middle)s, %(low)s to %(high)s") % {
        "middle": figure(step * round(litres / step), 0),
        "low": figure(step * floor(low / step), 0), "high": figure(step * ceil(high / step), 0),
    }  # fmt: skip


def share(percent: float, expected: float, apart: Unmeasured | None) -> str:
    """Return what was drawn in percent of the expected, as a span where it is only known as one."""
    if apart is None or expected <= 0:
        return f"{figure(percent, 0)} %"
    low, high = (100 * one / expected for one in (apart.low_litres, apart.high_litres))
    return _("%(low)s to %(high)s %%") % {"low": figure(floor(low), 0), "high": figure(ceil(high), 0)}
