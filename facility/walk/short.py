"""The short check of a call-out: the critical steps of a sheet, first and in walking order."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from facility.models import Occasion
from treatments.calling.short_checks import call_is_on

if TYPE_CHECKING:
    from facility.compute.sheets import Step
    from facility.walk.station import Walk


@dataclass(frozen=True, slots=True)
class ShortStep:
    """One critical step, the station where it stands, and whether it has an answer."""

    step: Step
    place: int
    answered: bool


def short_list(walk: Walk) -> list[ShortStep]:
    """Return the critical steps while the chamber is called out; none for a sheet without them or at other times."""
    if walk.check.sheet.occasion != Occasion.BEFORE_RUN or not any(step.critical for step in walk.steps):
        return []
    if not call_is_on(walk.check.sheet.chamber_id):
        return []
    return [
        ShortStep(step, stop.group.place, any(one.is_current for one in walk.answers.get(step.key, [])))
        for stop in walk.stops
        for step in stop.group.steps
        if step.critical
    ]


def place_of_next(steps: list[ShortStep]) -> int | None:
    """Return the station of the next critical step without an answer."""
    return next((one.place for one in steps if not one.answered), None)
