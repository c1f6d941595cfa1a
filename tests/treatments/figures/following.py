"""Logs made from a plan, as a careful keeper would write them: entries of a run that follows its table."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

from treatments.compute.logbook import LoggedEntry

if TYPE_CHECKING:
    from collections.abc import Sequence

    from treatments.compute.profile import Profile

PATIENT, TENDER = 1, 2


def log_of(run: Profile, who: Sequence[int] = (PATIENT,)) -> list[LoggedEntry]:
    """Return the log of a run that follows its plan, everybody in ``who`` breathing by the table."""
    found = [LoggedEntry(0.0, "left_surface", depth_fsw=0.0)]
    for minute, (one, after) in zip(run.ends, pairwise(run.segments), strict=False):
        if one.is_stop and not after.is_stop:
            found.append(LoggedEntry(minute, "left_stop", depth_fsw=one.end_fsw))
        if after.is_stop and not one.is_stop:
            found.append(LoggedEntry(minute, "reached_stop", depth_fsw=one.end_fsw))
        if one.gas != after.gas:
            kind = "oxygen_on" if after.gas == "O2" else "oxygen_off"
            found += [LoggedEntry(minute, kind, place=place) for place in who]
    if run.segments[0].gas == "O2":
        found[1:1] = [LoggedEntry(0.0, "oxygen_on", place=place) for place in who]
    return [*found, LoggedEntry(run.run_minutes, "reached_surface", depth_fsw=0.0)]
