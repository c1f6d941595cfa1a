"""What the log says of how a table was used: extensions taken, minutes of an open first stop, depth of relief."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from treatments.compute.phases import stops
from treatments.compute.profile import Breaks, Choices, Profile, profile
from treatments.compute.tables import StopClock, Table

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from treatments.compute.logbook import LoggedEntry
    from treatments.compute.phases import Phase

EXTENSION = "extension"


@dataclass(frozen=True, slots=True)
class Chosen:
    """A table as it was used. ``beyond``: (depth, taken, allowed); allowed 0 where the table states none there."""

    table: Table
    choices: Choices
    beyond: tuple[tuple[float, int, int], ...]

    @property
    def plan(self) -> Profile:
        """The planned profile of it."""
        return profile(self.table, self.choices)


def extensions_taken(entries: Iterable[LoggedEntry]) -> dict[float, int]:
    """Return how many extensions the log holds at each depth in fsw; an entry without a count is one."""
    taken: dict[float, int] = {}
    for one in entries:
        if one.kind != EXTENSION:
            continue
        depth = _number(one.values.get("extension_depth_fsw"))
        depth = one.depth_fsw if depth is None else depth
        count = _number(one.values.get("extension_count"))
        if depth is not None:
            taken[depth] = taken.get(depth, 0) + (1 if count is None else int(count))
    return {depth: count for depth, count in taken.items() if count > 0}


def chosen(table: Table, taken: Mapping[float, int], log: Sequence[Phase], same_fsw: float) -> Chosen:
    """Return a table as the log used it.

    ``log``: the logged phases. An extension that the table does not state is left out of the plan and named; more
    than it allows are put in and named: the physician may have asked for them.
    """
    known = {one.depth_fsw: one for one in table.extensions}
    nearest = {_near(depth, known, same_fsw): 0 for depth in taken}
    for depth, count in taken.items():
        nearest[_near(depth, known, same_fsw)] += count
    beyond = []
    for depth, count in nearest.items():
        allowed = known[depth].allowed if depth in known else 0
        if count > allowed:
            beyond.append((depth, count, allowed))
    counted = {depth: count for depth, count in nearest.items() if depth in known}
    wider = tuple(replace(one, allowed=max(one.allowed, counted.get(one.depth_fsw, 0))) for one in table.extensions)
    done = stops(log)
    choices = Choices(counted, Breaks.KEPT, _first_stop(table, done), _relief(table, done, same_fsw))
    wide = replace(table, extensions=wider)
    return Chosen(wide, replace(choices, breaks=_breaks(wide, choices, log, same_fsw)), tuple(beyond))


def _near(depth: float, known: Iterable[float], same_fsw: float) -> float:
    return next((one for one in known if abs(one - depth) <= same_fsw), depth)


def _breaks(table: Table, choices: Choices, log: Sequence[Phase], same_fsw: float) -> Breaks:
    """Return which air breaks were kept where the table lets extensions go without: told by the length of the stop.

    Kept, as long as the stop has not been left.
    """
    for one in table.extensions:
        if not (one.breaks_may_be_left_out and choices.extensions.get(one.depth_fsw)):
            continue
        stays = [stop for stop in stops(log) if abs(stop.start_fsw - one.depth_fsw) <= same_fsw]
        if not stays or stays[-1].end_min >= log[-1].end_min:
            return Breaks.KEPT
        kept = sum(stop.minutes for stop in stays)
        lengths = {way: _at(profile(table, replace(choices, breaks=way)), one.depth_fsw) for way in Breaks}
        return min(Breaks, key=lambda way: abs(lengths[way] - kept))
    return Breaks.KEPT


def _at(plan: Profile, depth_fsw: float) -> float:
    return sum(one.minutes for one in plan.segments if one.is_stop and one.start_fsw == depth_fsw)


def _first_stop(table: Table, done: Sequence[Phase]) -> float | None:
    """Return the minutes of a first stop that the table leaves open, as far as the log goes."""
    if table.first_stop is None:
        return None
    least, most = table.first_stop
    depth = table.segments[0].start_fsw
    stop = max(done, key=lambda one: one.start_fsw, default=None)
    if stop is None or stop.start_fsw < depth - 1:
        return least
    minutes = stop.end_min if table.clock is StopClock.SURFACE else stop.minutes
    kept = max(least, minutes)
    return kept if most is None else min(kept, most)


def _relief(table: Table, done: Sequence[Phase], same_fsw: float) -> float | None:
    """Return the depth of relief: that of the deepest stop, where the table stops there."""
    if not table.depth_of_relief or not done:
        return None
    deepest = max(one.start_fsw for one in done)
    first, ascent = table.segments[0], table.segments[1]
    if ascent.end_fsw + same_fsw < deepest < first.start_fsw - same_fsw:
        return deepest
    return None


def _number(text: object) -> float | None:
    try:
        return float(str(text))
    except ValueError:
        return None
