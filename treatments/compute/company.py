"""Who was under pressure when, and what each breathed: by lock-in and lock-out, and that person's own entries.

Minutes from leaving the surface. Oxygen logged for nobody by name is that of every patient inside.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from treatments.compute.logbook import SHORTEST_MIN
from treatments.compute.phases import Breathing
from treatments.compute.tables import AIR, OXYGEN

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from treatments.compute.logbook import LoggedEntry, Track
    from treatments.compute.tables import Segment

LOCK_IN, LOCK_OUT = "lock_in", "lock_out"
#: what each kind of entry puts a person on; a lost supply takes everybody off, its return puts nobody on
GASES = {"oxygen_on": OXYGEN, "oxygen_off": AIR, "air_break": AIR, "oxygen_lost": AIR}


@dataclass(frozen=True, slots=True)
class Occupant:
    """One person in one place of a run. ``inside``: goes under pressure when the run leaves the surface."""

    place: int
    label: str
    role: str
    inside: bool
    is_patient: bool
    is_tender: bool
    previous_gap_h: float | None = None


@dataclass(frozen=True, slots=True)
class Stays:
    """When somebody was under pressure (from, until), and whether they still are at the last minute."""

    spans: tuple[tuple[float, float], ...]
    open: bool

    @property
    def minutes(self) -> float:
        """The minutes under pressure."""
        return sum(end - start for start, end in self.spans)

    def whole(self, until: float) -> bool:
        """Return whether it is one stay from leaving the surface to a minute."""
        return len(self.spans) == 1 and self.spans[0][0] <= SHORTEST_MIN and self.spans[0][1] >= until - SHORTEST_MIN

    def holds(self, minute: float) -> bool:
        """Return whether the person is inside at a minute."""
        return any(start <= minute <= end for start, end in self.spans)


def stays(entries: Iterable[LoggedEntry], who: Occupant, until: float) -> Stays:
    """Return when somebody was under pressure up to a minute.

    Somebody whose first lock entry is a lock-in was outside before, whatever was planned. A lock-in while
    inside and a lock-out while outside change nothing. The time in the outer lock is not in the log of the run.
    """
    own = [one for one in entries if one.place == who.place and one.kind in (LOCK_IN, LOCK_OUT)]
    inside_from = 0.0 if who.inside and not (own and own[0].kind == LOCK_IN) else None
    spans: list[tuple[float, float]] = []
    for one in own:
        minute = min(max(one.minute, 0.0), until)
        if one.kind == LOCK_IN and inside_from is None:
            inside_from = minute
        elif one.kind == LOCK_OUT and inside_from is not None:
            spans.append((inside_from, minute))
            inside_from = None
    if inside_from is not None and until > inside_from:
        spans.append((inside_from, until))
    return Stays(tuple(span for span in spans if span[1] > span[0]), inside_from is not None)


def breathed_by(entries: Sequence[LoggedEntry], who: Occupant, when: Stays) -> tuple[Breathing, ...]:
    """Return what somebody breathed while under pressure, stretches of one gas joined; chamber air unless logged."""
    changes = [(one.minute, GASES[one.kind]) for one in entries if one.kind in GASES and _concerns(one, who)]
    found: list[Breathing] = []
    for start, end in when.spans:
        found += _stretches([one for one in changes if start - SHORTEST_MIN <= one[0] < end], start, end)
    return tuple(found)


def _concerns(one: LoggedEntry, who: Occupant) -> bool:
    if one.place is not None:
        return one.place == who.place
    return who.is_patient or one.kind == "oxygen_lost"


def _stretches(changes: Iterable[tuple[float, str]], start: float, end: float) -> list[Breathing]:
    found: list[Breathing] = []
    gas, since = AIR, start
    for minute, after in changes:
        if after == gas:
            continue
        if minute - since > SHORTEST_MIN:
            found.append(Breathing(gas, since, minute))
            since = minute
        gas = after
    found.append(Breathing(gas, since, end))
    return found


def person_segments(depth: Track, breathed: Iterable[Breathing]) -> tuple[Segment, ...]:
    """Return what a person was exposed to: the logged depth on the gas breathed."""
    return tuple(piece for one in breathed for piece in depth.between(one.start_min, one.end_min, one.gas))


def compared_segments(depth: Track, breathed: Iterable[Breathing]) -> tuple[Segment, ...]:
    """Return the same as far as the depth may be laid against a plan."""
    last = depth.known_until
    return tuple(piece for one in breathed for piece in depth.between(one.start_min, min(one.end_min, last), one.gas))


def oxygen_minutes_of(breathed: Iterable[Breathing]) -> float:
    """Return the minutes on oxygen."""
    return sum(one.minutes for one in breathed if one.gas == OXYGEN)


def oxygen_shallow(segments: Iterable[Segment], depth_fsw: float, slack_fsw: float) -> float:
    """Return the minutes on oxygen at a depth and shallower, for the oxygen of a tender."""
    return sum(
        one.minutes
        for one in segments
        if one.gas == OXYGEN and max(one.start_fsw, one.end_fsw) <= depth_fsw + slack_fsw
    )
