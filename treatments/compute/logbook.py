"""The log of a run as plain values, and the depth that it tells of.

Minutes from leaving the surface, depths gauge fsw. Entries come in the order in which they happened;
struck and superseded ones are left out before.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING

from treatments.compute.phases import NOT_RECORDED
from treatments.compute.tables import Segment

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

LEFT_SURFACE, REACHED_SURFACE = "left_surface", "reached_surface"
LEAVING = frozenset({LEFT_SURFACE, "left_depth", "left_stop"})
ARRIVING = frozenset({REACHED_SURFACE, "reached_depth", "reached_stop"})
#: two lines at one depth closer than this to each other are one; common practice, no source
SHORTEST_MIN = 1e-6


@dataclass(frozen=True, slots=True)
class LoggedEntry:
    """One line of the log: minute from leaving the surface, kind, whom it is about, depth in fsw gauge if given."""

    minute: float
    kind: str
    place: int | None = None
    depth_fsw: float | None = None
    values: Mapping[str, str] = field(default_factory=dict)
    pk: int = 0


@dataclass(frozen=True, slots=True)
class Known:
    """A depth that the log states: minute, fsw, and the kind of entry that says so."""

    minute: float
    depth_fsw: float
    kind: str


@dataclass(frozen=True, slots=True)
class Track:
    """The depth of a run, straight between what was logged.

    ``points``: from leaving the surface on, minutes strictly rising; the last one is ``until``.
    After ``logged_until`` the depth is only the last logged one, held. ``leaving``: the last line says that the depth
    was left; ``moving``: the last line is of a depth on the way, with no word of an arrival.
    """

    points: tuple[tuple[float, float], ...]
    logged_until: float
    leaving: bool
    moving: bool

    @property
    def until(self) -> float:
        """The minute at which it ends."""
        return self.points[-1][0]

    @property
    def known_until(self) -> float:
        """The minute up to which the depth may be laid against a plan: under way only what was logged."""
        return self.logged_until if self.leaving or self.moving else self.until

    @property
    def deepest_fsw(self) -> float:
        """The deepest depth."""
        return max(depth for _, depth in self.points)

    def depth_at(self, minute: float) -> float:
        """Return the depth at a minute; before the first and after the last point that of the point."""
        place = bisect_right(self.points, (minute, float("inf")))
        if place == 0:
            return self.points[0][1]
        if place == len(self.points):
            return self.points[-1][1]
        (start, top), (end, bottom) = self.points[place - 1], self.points[place]
        return top + (bottom - top) * (minute - start) / (end - start)

    def between(self, start: float, end: float, gas: str = NOT_RECORDED) -> tuple[Segment, ...]:
        """Return the stretch between two minutes as segments on one gas; nothing where it takes no time."""
        inside = [one for one in self.points if start < one[0] < end]
        cuts = [(start, self.depth_at(start)), *inside, (end, self.depth_at(end))]
        return tuple(Segment(a[1], b[1], b[0] - a[0], gas) for a, b in pairwise(cuts) if b[0] - a[0] > SHORTEST_MIN)

    def segments(self) -> tuple[Segment, ...]:
        """Return the whole, up to ``known_until``, as segments of which only the depth is known."""
        return self.between(self.points[0][0], self.known_until)


def known_depths(entries: Iterable[LoggedEntry]) -> tuple[Known, ...]:
    """Return each depth that the log states, from leaving the surface on.

    Leaving the surface and reaching it are 0 fsw. A depth that was left without a figure is the last one known.
    """
    found = [Known(0.0, 0.0, LEFT_SURFACE)]
    for one in entries:
        if one.kind == LEFT_SURFACE or one.minute < 0:
            continue
        depth = one.depth_fsw
        if one.kind == REACHED_SURFACE:
            depth = 0.0
        elif depth is None and one.kind in LEAVING:
            depth = found[-1].depth_fsw
        if depth is not None:
            found.append(Known(one.minute, depth, one.kind))
    return tuple(found)


def track(entries: Sequence[LoggedEntry], until: float) -> Track | None:
    """Return the depth of a run from leaving the surface to a minute; None before it advanced at all.

    ``until``: now, or when the surface was reached. At one minute the last line counts.
    """
    states = [one for one in known_depths(entries) if one.minute <= until + SHORTEST_MIN]
    points = [(0.0, 0.0)]
    for one in states[1:]:
        if one.minute - points[-1][0] > SHORTEST_MIN:
            points.append((one.minute, one.depth_fsw))
        elif len(points) > 1:
            points[-1] = (points[-1][0], one.depth_fsw)
    last = points[-1][0]
    if until - last > SHORTEST_MIN:
        points.append((until, points[-1][1]))
    if len(points) == 1:
        return None
    state = states[-1].kind
    moving = state not in ARRIVING and len(states) > 1 and states[-1].depth_fsw != states[-2].depth_fsw
    return Track(tuple(points), last, state in LEAVING, moving)
