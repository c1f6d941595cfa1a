"""Ventilation asked for over a run as it was logged, and stops of the ventilation. Depths gauge fsw, minutes."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

from treatments.compute.tables import OXYGEN
from treatments.compute.ventilation import People, Stretch, asked

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from treatments.compute.company import Occupant, Stays
    from treatments.compute.logbook import LoggedEntry, Track
    from treatments.compute.phases import Breathing
    from treatments.compute.ventilation import Rates

VENTILATION = "ventilation_acfm"
Somebody = tuple["Occupant", "Stays", "Sequence[Breathing]"]


def people_at(minute: float, everybody: Iterable[Somebody], *, at_rest: bool) -> People:
    """Return who breathes what at a minute: patients at rest; tenders at work on chamber air unless ``at_rest``.

    On oxygen everybody is taken to be at rest.
    """
    counts = {"air_rest": 0, "air_working": 0, "mask_rest": 0}
    for who, when, breathed in everybody:
        if not any(start <= minute < end for start, end in when.spans):
            continue
        on_oxygen = any(one.gas == OXYGEN and one.start_min <= minute < one.end_min for one in breathed)
        working = who.is_tender and not at_rest
        counts["mask_rest" if on_oxygen else "air_working" if working else "air_rest"] += 1
    return People(**counts)


def stretches_asked(
    depth: Track, since: float, everybody: Sequence[Somebody], rates: Rates, *, at_rest: bool, dump: bool
) -> tuple[Stretch, ...]:
    """Return a run from a minute on as stretches of one ventilation asked for, for ventilation.air_used()."""
    changes = {minute for minute, _fsw in depth.points}
    for _who, when, breathed in everybody:
        changes |= {end for span in when.spans for end in span}
        changes |= {one.start_min for one in breathed}
    cuts = sorted({since, depth.until, *(one for one in changes if since < one < depth.until)})
    found = []
    for start, end in pairwise(cuts):
        acfm = asked(people_at((start + end) / 2, everybody, at_rest=at_rest), rates, dump=dump).acfm
        found.append(Stretch(depth.depth_at(start), depth.depth_at(end), end - start, acfm))
    return tuple(found)


def flows(entries: Iterable[LoggedEntry]) -> tuple[tuple[float, float], ...]:
    """Return each logged flow: minute, acfm."""
    found = []
    for one in entries:
        try:
            found.append((one.minute, float(one.values[VENTILATION])))
        except (KeyError, ValueError):
            continue
    return tuple(found)


def stopped_minutes(logged: Sequence[tuple[float, float]], since: float, until: float) -> float:
    """Return how long the logged flow was nothing between two minutes."""
    stopped = 0.0
    ends = [*(minute for minute, _acfm in logged[1:]), until]
    for (start, acfm), end in zip(logged, ends, strict=False):
        if acfm <= 0:
            stopped += max(0.0, min(end, until) - max(start, since))
    return stopped


def flowed(depth: Track, logged: Sequence[tuple[float, float]]) -> tuple[Stretch, ...]:
    """Return the logged flow over the run as stretches; each flow holds until the next one."""
    ends = [*(minute for minute, _acfm in logged[1:]), depth.until]
    return tuple(
        Stretch(one.start_fsw, one.end_fsw, one.minutes, acfm)
        for (start, acfm), end in zip(logged, ends, strict=False)
        for one in depth.between(max(0.0, start), min(end, depth.until))
    )
