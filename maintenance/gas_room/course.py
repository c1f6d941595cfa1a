"""The course of a bank's content as a small line, and what it says: use a day, the day it runs out, the order."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from facility.reference import load
from maintenance.compute.supply import OrderBy, Use, order_by, runs_out_on, use_of
from maintenance.reference import FOLDER

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import date, datetime

    from maintenance.models import Supply

WIDTH, HEIGHT, EDGE = 320.0, 72.0, 4.0


@dataclass(frozen=True, slots=True)
class Line:
    """Points of a polyline in a box of WIDTH by HEIGHT, the lowest and highest content [L], first and last instant."""

    points: str
    lowest: int
    highest: int
    begins: datetime
    ends: datetime


def line_of(points: Sequence[tuple[datetime, float]]) -> Line | None:
    """Return the picture of a course; the scale begins at 0. None with less than two points."""
    if len(points) < 2 or points[0][0] == points[-1][0]:  # noqa: PLR2004  # a line needs two
        return None
    begins, ends = points[0][0], points[-1][0]
    highest = max(content for _at, content in points) or 1.0
    span = (ends - begins).total_seconds()
    drawn = " ".join(
        f"{EDGE + (WIDTH - 2 * EDGE) * (at - begins).total_seconds() / span:.1f}"
        f",{HEIGHT - EDGE - (HEIGHT - 2 * EDGE) * content / highest:.1f}"
        for at, content in points
    )
    return Line(drawn, int(min(content for _at, content in points)), int(highest), begins, ends)


def noise_of(points: Sequence[tuple[datetime, float]]) -> float:
    """Return the change of content [L] that gauge and thermometer cannot tell. Source: reference/gas_supply.toml."""
    percent = float(load(FOLDER / "gas_supply.toml")["noise.percent"].number)
    return max((content for _at, content in points), default=0.0) * percent / 100


@dataclass(frozen=True, slots=True)
class Forecast:
    """What the course of one gas says. ``kept``: what must be there for the next run [L]; ``order`` None: no supply.

    ``out_on`` is None where nothing is drawn.
    """

    gas: str
    content: int
    kept: int
    use: Use | None
    out_on: date | None
    supply: Supply | None
    order: OrderBy | None

    @property
    def short(self) -> bool:
        """Whether there is not even enough for that run now."""
        return self.kept > self.content


def forecast_of(
    gas: str, courses: Sequence[Sequence[tuple[Any, float]]], content: int, kept: int, supply: Supply | None,
    today: date,
) -> Forecast:  # fmt: skip
    """Return the forecast of one gas from the courses of its banks. Litres at 15 degC and 1 atm."""
    uses = [found for points in courses if (found := use_of(points, noise_of(points))) is not None]
    use = None
    if uses:
        use = Use(sum(one.drawn for one in uses), sum(one.added for one in uses), max(one.days for one in uses),
                  sum(one.per_day for one in uses))  # fmt: skip
    out_on = runs_out_on(today, content, kept, use.per_day if use else 0.0)
    order = None
    if out_on is not None and supply is not None:
        order = order_by(today, out_on, supply.lead_days, supply.weekdays)
    return Forecast(gas, content, kept, use, out_on, supply, order)


def by_gas(states: Sequence[Any], courses: Mapping[int, list[tuple[Any, float]]]) -> dict[str, list[Any]]:
    """Return the courses of the banks of each gas."""
    found: dict[str, list[Any]] = {}
    for state in states:
        found.setdefault(state.bank.gas, []).append(courses[state.bank.pk])
    return found
