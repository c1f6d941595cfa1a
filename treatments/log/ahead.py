"""What is due next by the table of a run with its logged extensions, moved by the last depth that was logged."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from treatments.compute.clock import Due, planned_events
from treatments.compute.profile import Choices, ProfileError, profile
from treatments.log.doubts import extensions_of
from treatments.models import LogKind

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from treatments.compute.clock import PlannedEvent
    from treatments.compute.profile import Profile
    from treatments.compute.tables import Table
    from treatments.models import LogEntry

SAME_FSW = 1.0
_REACHED = frozenset({LogKind.REACHED_DEPTH, LogKind.REACHED_STOP})
_LEFT = frozenset({LogKind.LEFT_DEPTH, LogKind.LEFT_STOP})


@dataclass(frozen=True, slots=True)
class Ahead:
    """One thing due: when, in words, and at which depth in fsw."""

    at: datetime
    what: str
    depth_fsw: float


def planned(table: Table, entries: Sequence[LogEntry]) -> Profile:
    """Return the profile of a table with the extensions that were logged, as far as the table states them."""
    known = {one.depth_fsw: one.allowed for one in table.extensions}
    taken = {depth: min(count, known[depth]) for depth, count in extensions_of(entries).items() if depth in known}
    try:
        return profile(table, Choices(taken))
    except ProfileError:
        return profile(table)


def ahead(table: Table, entries: Sequence[LogEntry], started_at: datetime) -> tuple[Ahead, ...]:
    """Return everything planned after the last logged change of depth, moved by how late that was.

    ``entries``: current ones in the order in which they happened. The table only, never advice.
    """
    found = planned_events(planned(table, entries))
    place, moved = _moved(found, entries, started_at)
    return tuple(
        Ahead(started_at + timedelta(minutes=one.minute) + moved, _words(found, number), one.depth_fsw)
        for number, one in enumerate(found)
        if number > place
    )


def _moved(
    found: Sequence[PlannedEvent], entries: Sequence[LogEntry], started_at: datetime
) -> tuple[int, timedelta]:  # fmt: skip
    """Return the place of the last planned change of depth that was logged, and how late it was."""
    place, moved, depth = 0, timedelta(), 0.0
    for entry in entries:
        if entry.kind in _REACHED and entry.depth is not None:
            depth = float(entry.depth) if entry.depth_unit == "fsw" else depth
        if entry.kind not in _REACHED | _LEFT or entry.occurred_at is None:
            continue
        due = Due.REACH_DEPTH if entry.kind in _REACHED else Due.LEAVE_DEPTH
        for number in range(place + 1, len(found)):
            if found[number].due is due and (
                entry.depth_unit != "fsw" or abs(found[number].depth_fsw - depth) <= SAME_FSW
            ):
                place = number
                moved = entry.occurred_at - started_at - timedelta(minutes=found[number].minute)
                break
    return place, moved


def _words(found: Sequence[PlannedEvent], number: int) -> str:
    one = found[number]
    depth = f"{one.depth_fsw:g}"
    if one.due is Due.OXYGEN_OFF:
        return _off_words(found, number)
    return {
        Due.LEAVE_SURFACE: _("leave surface"),
        Due.REACH_DEPTH: _("reach %(depth)s fsw") % {"depth": depth},
        Due.LEAVE_DEPTH: _("leave %(depth)s fsw") % {"depth": depth},
        Due.OXYGEN_ON: _("patient on oxygen"),
        Due.REACH_SURFACE: _("reach surface"),
    }[one.due]


def _off_words(found: Sequence[PlannedEvent], number: int) -> str:
    """Say how long the air break is planned to last, if oxygen follows."""
    after = next((one for one in found[number + 1 :] if one.due is Due.OXYGEN_ON), None)
    if after is None:
        return _("patient off oxygen")
    minutes = after.minute - found[number].minute
    return _("patient off oxygen, air %(n)g min") % {"n": minutes}
