"""The planned clock of a run: what is due at which minute from leaving the surface."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from typing import TYPE_CHECKING

from treatments.compute.tables import OXYGEN, Segment

if TYPE_CHECKING:
    from collections.abc import Iterator

    from treatments.compute.profile import Profile


class Due(StrEnum):
    """What is due."""

    LEAVE_SURFACE = "leave surface"
    REACH_DEPTH = "reach depth"
    LEAVE_DEPTH = "leave depth"
    OXYGEN_ON = "oxygen on"
    OXYGEN_OFF = "oxygen off"
    REACH_SURFACE = "reach surface"


@dataclass(frozen=True, slots=True)
class PlannedEvent:
    """What is due: minute from leaving the surface, depth in fsw gauge."""

    minute: float
    due: Due
    depth_fsw: float


def planned_events(run: Profile) -> tuple[PlannedEvent, ...]:
    """Return everything that is due on a run, in order; at one minute depth comes before gas.

    >>> from treatments.compute.profile import profile
    >>> from treatments.reference import table
    >>> [(one.minute, str(one.due)) for one in planned_events(profile(table("TT6")))][:4]
    [(0.0, 'leave surface'), (3.0, 'reach depth'), (3.0, 'oxygen on'), (23.0, 'oxygen off')]
    """
    found = [PlannedEvent(0.0, Due.LEAVE_SURFACE, 0.0)]
    if run.segments[0].gas == OXYGEN:
        found.append(PlannedEvent(0.0, Due.OXYGEN_ON, 0.0))
    for minute, (one, after) in zip(run.ends, pairwise(run.segments), strict=False):
        found += [PlannedEvent(minute, due, after.start_fsw) for due in due_between(one, after)]
    return (*found, PlannedEvent(run.run_minutes, Due.REACH_SURFACE, 0.0))


def next_event(run: Profile, minute: float) -> PlannedEvent | None:
    """Return the first event due after a minute; None when all are past."""
    return next((one for one in planned_events(run) if one.minute > minute), None)


def due_between(one: Segment, after: Segment) -> Iterator[Due]:
    """Yield what is due where one segment ends and the next begins; depth comes before gas."""
    if after.is_stop and not one.is_stop:
        yield Due.REACH_DEPTH
    if one.is_stop and not after.is_stop:
        yield Due.LEAVE_DEPTH
    if one.gas != after.gas and OXYGEN in (one.gas, after.gas):
        yield Due.OXYGEN_ON if after.gas == OXYGEN else Due.OXYGEN_OFF
