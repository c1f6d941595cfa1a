"""Ventilation asked for over a whole run: who breathes what, minute by minute."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from treatments.compute.profile import depth_at
from treatments.compute.tables import OXYGEN
from treatments.compute.ventilation import People, Stretch, VentilationError, asked

if TYPE_CHECKING:
    from treatments.compute.profile import Profile
    from treatments.compute.ventilation import Rates


@dataclass(frozen=True, slots=True)
class Inside:
    """Who is inside: patients at rest who breathe by the table; tenders at work on air, at rest on oxygen.

    ``tender_oxygen_min``: the tenders breathe oxygen for this long before reaching the surface.
    """

    patients: int
    tenders: int
    tender_oxygen_min: float


def stretches(run: Profile, inside: Inside, rates: Rates, *, dump: bool) -> tuple[Stretch, ...]:
    """Return the run after its descent as stretches of one ventilation, for ventilation.air_used().

    Errors: VentilationError if the tenders' oxygen is longer than the run after its descent.
    Valid: the descent is not counted, the lock being filled then.
    """
    after_descent = run.run_minutes - run.descent.minutes
    if not 0 <= inside.tender_oxygen_min <= after_descent:
        raise VentilationError(
            f"tenders' oxygen: {inside.tender_oxygen_min:g} min is not taken. Allowed: 0 to {after_descent:g} min."
        )
    tender_from = run.run_minutes - inside.tender_oxygen_min
    found = []
    start = run.descent.minutes
    for one, end in zip(run.segments[1:], run.ends[1:], strict=True):
        cuts = [start, tender_from, end] if start < tender_from < end else [start, end]
        for begin, stop in pairwise(cuts):
            people = _people(inside, patient_masked=one.gas == OXYGEN, tender_masked=begin >= tender_from)
            acfm = asked(people, rates, dump=dump).acfm
            found.append(Stretch(depth_at(run, begin), depth_at(run, stop), stop - begin, acfm))
        start = end
    return tuple(found)


def _people(inside: Inside, *, patient_masked: bool, tender_masked: bool) -> People:
    return People(
        air_rest=0 if patient_masked else inside.patients,
        air_working=0 if tender_masked else inside.tenders,
        mask_rest=(inside.patients if patient_masked else 0) + (inside.tenders if tender_masked else 0),
    )
