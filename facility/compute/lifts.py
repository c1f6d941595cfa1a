"""Who would fill one more place of a crew, and what lacks for it."""

from __future__ import annotations

from collections.abc import Sequence

from facility.compute.crew import Crew
from facility.compute.facts import Role
from facility.compute.findings import CrewPlaces, Lift
from facility.compute.matching import match, short_places, spare_people
from facility.compute.outlook import Outlook, Run
from facility.compute.signals import window
from facility.compute.states import LIMITED, UNKNOWN


def crew_places(outlook: Outlook, run: Run, crew: Crew) -> CrewPlaces:
    """How the places are filled at the outlook's instant, and what lifts a shortage."""
    good, limited, unknown = crew.filled(outlook.at)
    lifts: tuple[Lift, ...] = ()
    roles_short: tuple[str, ...] = ()
    if limited < crew.slots:
        masks = crew.fillings[LIMITED].masks(outlook.at)
        lifts, roles_short = _lifting(outlook, run, masks)
    return CrewPlaces(crew.slots, (good, limited, unknown), lifts, roles_short)


def _lifting(outlook: Outlook, run: Run, masks: Sequence[int]) -> tuple[tuple[Lift, ...], tuple[str, ...]]:
    """One more pair helps where its place and its person can both be left over.

    Source: an edge enlarges a maximum matching exactly if some maximum matching
    misses both of its ends; in a bipartite graph the two can be missed together.
    """
    people = list(outlook.facility.people)
    holders = match(masks)
    short = short_places(masks, holders)
    spare = spare_people(masks, holders, len(people))
    lifts: list[Lift] = []
    roles_short: list[Role] = []
    place = 0
    for role in run.plan.roles:
        if place in short:
            roles_short.append(role)
            lifts += [
                Lift(people[number], role.role, lacking(outlook, run, number, role))
                for number in sorted(spare)
                if not masks[place] >> number & 1
            ]
        place += role.count
    return tuple(lifts), tuple(role.role for role in roles_short)


def lacking(outlook: Outlook, run: Run, number: int, role: Role) -> tuple[str, ...]:
    """What is neither good nor limited for a person through the part of a role."""
    name = list(outlook.facility.people)[number]
    causes = {"duty": outlook.duty(name), "wait": outlook.wait(name)}
    if role.medical:
        causes = {"medical": outlook.medical(name), **causes}
    for qualification in dict.fromkeys(role.qualifications):
        steps = outlook.qualification(name, qualification)
        causes[f"qualification {qualification}"] = steps
    part = run.part(role.from_, role.to)
    return tuple(cause for cause, steps in causes.items() if window(steps, *part).level(outlook.at) >= UNKNOWN)
