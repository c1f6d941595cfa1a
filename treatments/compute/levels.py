"""The stops in a logged depth: small differences between readings at one depth are one stop.

Between an arrival and a leaving, whatever lies within the tolerance of the arrival is that stop. Elsewhere lines
that stay within the tolerance and change slower than a hold are one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from treatments.compute.logbook import ARRIVING, LEAVING, LEFT_SURFACE

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from treatments.compute.logbook import LoggedEntry, Track


@dataclass(frozen=True, slots=True)
class Level:
    """When two lines are at one depth. Units: fsw, fsw/min."""

    same_fsw: float
    hold_fsw_min: float


def levelled(depth: Track, entries: Iterable[LoggedEntry], level: Level) -> Track:
    """Return the depth with each stop at one depth. The minutes stay as logged."""
    marks = {round(one.minute, 6): one.kind for one in entries if one.kind in ARRIVING | LEAVING - {LEFT_SURFACE}}
    points = list(depth.points)
    place = 0
    while place < len(points) - 1:
        end = _end(points, place, marks, level)
        for other in range(place, end + 1):
            points[other] = (points[other][0], points[place][1])
        place = max(end, place + 1)
    return replace(depth, points=tuple(points), moving=depth.moving and not _stays(points, depth.logged_until))


def _stays(points: Sequence[tuple[float, float]], minute: float) -> bool:
    """Return whether the line at a minute is at the depth of the one before it."""
    before = [depth for at, depth in points if at <= minute]
    return before[1:] != [] and before[-1] == before[-2]


def _end(points: Sequence[tuple[float, float]], place: int, marks: dict[float, str], level: Level) -> int:
    """Return the last point of the stop that begins at a point; the point itself where none begins."""
    start, depth = points[place]
    mark = marks.get(round(start, 6))
    if mark in LEAVING:
        return place
    end = place
    for other in range(place + 1, len(points)):
        minute, reached = points[other]
        apart = abs(reached - depth)
        slow = apart <= level.hold_fsw_min * (minute - start)
        if apart > level.same_fsw or not (slow or mark in ARRIVING):
            break
        end = other
        if marks.get(round(minute, 6)) in LEAVING:
            break
    return end
