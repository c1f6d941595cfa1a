"""The clock of a run: what was planned, how it moved, what is due, where the run is and what it kept."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from treatments.compute.chosen import chosen, extensions_taken
from treatments.compute.clock import Due
from treatments.compute.company import breathed_by, stays
from treatments.compute.levels import Level, levelled
from treatments.compute.logbook import known_depths, track
from treatments.compute.phases import phases, stop_minutes, stops
from treatments.compute.schedule import Moved, moved
from treatments.figures.shape import DepthNow, PlannedAt, RateDone, StopDone
from treatments.reference.laws import segmentation, tolerances

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from treatments.compute.chosen import Chosen
    from treatments.compute.clock import PlannedEvent
    from treatments.compute.company import Occupant, Stays
    from treatments.compute.logbook import Track
    from treatments.compute.phases import Breathing, Phase
    from treatments.compute.profile import Profile
    from treatments.figures.rows import Rows

TENDER_OXYGEN = "tender oxygen on"


@dataclass(frozen=True, slots=True)
class Follower:
    """Somebody under pressure: when, and what was breathed."""

    who: Occupant
    when: Stays
    breathed: tuple[Breathing, ...]


@dataclass(frozen=True, slots=True)
class Timing:
    """The log of a run with its plan. ``level``: the depth with its stops level; ``moves``: one a patient, or one."""

    rows: Rows
    track: Track | None
    level: Track | None
    done: tuple[Phase, ...]
    followers: tuple[Follower, ...]
    extensions: Mapping[float, int]
    used: Chosen | None
    plan: Profile | None
    moves: tuple[tuple[Occupant | None, Moved], ...]

    @property
    def last(self) -> Moved | None:
        """The plan as moved that ends last."""
        return max((one for _who, one in self.moves), key=lambda one: one.ends[-1], default=None)


def timing(rows: Rows) -> Timing:
    """Return the log of a run with its plan."""
    depth = track(rows.entries, rows.until) if rows.run.started_at is not None else None
    level = None
    if depth is not None:
        level = levelled(depth, rows.entries, Level(tolerances().depth_fsw, segmentation().hold_rate_fsw_min))
    done = () if level is None else phases(level.segments(), tolerances().depth_fsw)
    followers = tuple(_follower(rows, who) for _place, who in rows.places)
    taken = extensions_taken(rows.entries)
    used = None if rows.table is None else chosen(rows.table, taken, done, tolerances().depth_fsw)
    plan = None if used is None else used.plan
    found = Timing(rows, depth, level, done, followers, taken, used, plan, ())
    return found if plan is None else replace(found, moves=_moves(found, plan))


def _follower(rows: Rows, who: Occupant) -> Follower:
    when = stays(rows.entries, who, rows.until)
    return Follower(who, when, breathed_by(rows.entries, who, when))


def _moves(found: Timing, plan: Profile) -> tuple[tuple[Occupant | None, Moved], ...]:
    if found.level is None:
        return ((None, Moved(plan, plan.ends, plan.ends, 0, 0.0)),)
    until = found.rows.until
    patients = [one for one in found.followers if one.who.is_patient and one.when.whole(until)]
    if not patients:
        return ((None, moved(plan, found.level, None, tolerances())),)
    return tuple((one.who, moved(plan, found.level, one.breathed, tolerances())) for one in patients)


def events_of(found: Timing, more: Iterable[PlannedAt] = ()) -> tuple[tuple[PlannedAt, ...], tuple[PlannedAt, ...]]:
    """Return everything that was or is due in order, and what is not done yet. ``more``: not done either."""
    last = found.last
    if last is None or found.rows.run.started_at is None:
        return (), ()
    done: list[PlannedAt] = []
    open_ones = list(more)
    for who, one in found.moves:
        for event, past in one.events():
            gas = event.due in (Due.OXYGEN_ON, Due.OXYGEN_OFF)
            if gas or one is last:
                into = done if past or found.rows.over else open_ones
                _put(into, _planned_at(found.rows, event, () if who is None or not gas else (who.label,)))
    open_ones.sort(key=lambda one: one.minute)
    return (*sorted(done, key=lambda one: one.minute), *open_ones), tuple(open_ones)


def _put(into: list[PlannedAt], new: PlannedAt) -> None:
    """Add what is due; where it is due for others at the same minute, join it to theirs."""
    for place, one in enumerate(into):
        if one.due == new.due and abs(one.minute - new.minute) < 1 / 120 and new.who:
            into[place] = replace(one, who=(*one.who, *new.who))
            return
    into.append(new)


def _planned_at(rows: Rows, event: PlannedEvent, who: tuple[str, ...]) -> PlannedAt:
    return planned_at(rows, event.minute, str(event.due), event.depth_fsw, who)


def planned_at(rows: Rows, minute: float, due: str, depth_fsw: float, who: tuple[str, ...]) -> PlannedAt:
    """Return something due at a minute, in words."""
    seconds = 60 * (minute - rows.minute(rows.now))
    return PlannedAt(rows.instant(minute), minute, due, words(due, depth_fsw), depth_fsw, who, seconds)


def words(due: str, depth_fsw: float) -> str:
    """Say what is due."""
    said = {
        Due.LEAVE_SURFACE: _("leave surface"),
        Due.REACH_DEPTH: _("reach %(depth)g fsw"),
        Due.LEAVE_DEPTH: _("leave %(depth)g fsw"),
        Due.OXYGEN_ON: _("on oxygen"),
        Due.OXYGEN_OFF: _("off oxygen, air"),
        Due.REACH_SURFACE: _("reach surface"),
        TENDER_OXYGEN: _("tender on oxygen, at the latest"),
    }
    return said[due] % {"depth": depth_fsw}


def depth_now(found: Timing) -> DepthNow:
    """Return the depth last logged, when, and where the plan has the run."""
    rows = found.rows
    if rows.run.started_at is None:
        return DepthNow(None, None, None)
    newest = [one for one in known_depths(rows.entries) if one.minute <= rows.until + 1e-6][-1]
    planned = None if found.last is None or rows.over else found.last.depth_fsw
    return DepthNow(newest.depth_fsw, rows.instant(newest.minute), planned)


def stops_done(found: Timing) -> tuple[StopDone, ...]:
    """Return each logged stop with its minutes by the clock of the table, and what the table has there."""
    done = stops(found.done)
    planned = {} if found.plan is None else _planned_minutes(found.plan)
    rows, kept = found.rows, []
    for place, one in enumerate(done):
        minutes = one.minutes if found.plan is None else stop_minutes(done, place, found.plan.clock)
        on = not rows.over and one.end_min >= rows.until - 1e-6 and not (found.level and found.level.leaving)
        asked = next(
            (planned[depth] for depth in planned if abs(depth - one.start_fsw) <= tolerances().depth_fsw), None
        )
        left = None if on else rows.instant(one.end_min)
        kept.append(StopDone(one.start_fsw, rows.instant(one.start_min), left, minutes, asked))
    return tuple(kept)


def _planned_minutes(plan: Profile) -> dict[float, float]:
    asked = stops(phases(plan.segments, 0.0))
    found: dict[float, float] = {}
    for place, one in enumerate(asked):
        found[one.start_fsw] = found.get(one.start_fsw, 0.0) + stop_minutes(asked, place, plan.clock)
    return found


def rates_done(found: Timing) -> tuple[RateDone, ...]:
    """Return each logged change of depth with its mean rate."""
    changes: Sequence[Phase] = [one for one in found.done if not one.is_stop and one.minutes > 0]
    return tuple(
        RateDone(
            one.start_fsw, one.end_fsw, found.rows.instant(one.start_min), found.rows.instant(one.end_min),
            (one.start_fsw - one.end_fsw) / one.minutes,
        )
        for one in changes
    )  # fmt: skip
