"""One need, or the crew, as a signal; what a waiver makes of it."""

from __future__ import annotations

from collections.abc import Sequence

from facility.compute.crew import Crew
from facility.compute.facts import CREW, Need, Waiver
from facility.compute.outlook import Outlook, Part, Run
from facility.compute.shared_needs import SharedNeed, Steady, shared_need
from facility.compute.signals import (
    CONSTANTS,
    Best,
    Signal,
    at_least,
    window,
    worst,
)
from facility.compute.states import BAD, LIMITED
from facility.compute.steps import Steps, covered, worst_of_steps


def members_of(outlook: Outlook, run: Run, name: str) -> list[Signal]:
    """Signals of the members of a need; a member named twice counts once."""
    need = outlook.facility.needs[name]
    part = run.part(need.from_, need.to)
    common = shared(outlook, name)
    if common is not None:
        return [window(steps, *part) for steps in common.calendars]
    gas = need.gas
    return [outlook.member(one, run, part, gas) for one in dict.fromkeys(need.members)]


def steady(outlook: Outlook, name: str) -> Steady | None:
    """The need, if it is the same for every plan and no waiver is written for it."""
    common = None if name in outlook.waivers else shared(outlook, name)
    return None if common is None else common.steady


def shared(outlook: Outlook, name: str) -> SharedNeed | None:
    """What every plan shares of a need, if it is the same for all of them."""
    if name not in outlook.shared:
        outlook.shared[name] = _shared(outlook, outlook.facility.needs[name])
    return outlook.shared[name]


def _shared(outlook: Outlook, need: Need) -> SharedNeed | None:
    calendars: list[Steps] = []
    for member in dict.fromkeys(need.members):
        level = outlook.same_for_all(member)
        if level is None:
            return None
        steps = outlook.calendar(member, "")
        if level:
            steps = worst_of_steps([steps, ([outlook.at], [level])], outlook.at)
        calendars.append(steps)
    return shared_need(need, calendars, outlook.at, outlook.longest)


def unwaived(need: Need, members: Sequence[Signal]) -> Signal:
    """Rules 1 to 4, and the effect that the need has."""
    signal = at_least(members, need.k)
    if need.effect == "limits":
        return Best((signal, CONSTANTS[LIMITED]))
    return signal


def waived(outlook: Outlook, run: Run, name: str, members: Sequence[Signal], signal: Signal) -> Signal:
    """The need's signal with every waiver that acts on it; the best counts."""
    need = outlook.facility.needs[name]
    if name not in outlook.waivers or not need.waivable:
        return signal
    part = run.part(need.from_, need.to)
    found = [signal]
    for waiver in outlook.waivers[name]:
        if waiver.plans is None or run.name in waiver.plans:
            accepted = at_least(members, waiver.accepts)
            force = in_force(outlook, waiver, part)
            found.append(worst((CONSTANTS[LIMITED], force, accepted)))
    return Best(found) if len(found) > 1 else signal


def need_signal(outlook: Outlook, run: Run, name: str) -> Signal:
    """The signal of a need after waivers."""
    need = outlook.facility.needs[name]
    members = members_of(outlook, run, name)
    return waived(outlook, run, name, members, unwaived(need, members))


def in_force(outlook: Outlook, waiver: Waiver, part: Part) -> Signal:
    """Good where a waiver is in force through ``part`` (or at the start, if so written)."""
    steps = covered([(waiver.from_, waiver.until)], outlook.at, BAD)
    return window(steps, 0, 0) if waiver.to_end_of_run else window(steps, *part)


def crew_of(outlook: Outlook, run: Run, without: Sequence[str] = ()) -> Crew:
    """The crew of a plan, less one place for each role in ``without``."""
    roles = run.plan.roles
    counts = [max(role.count - without.count(role.role), 0) for role in roles]
    pairs = [
        (number, bit, calendar, *run.part(role.from_, role.to))
        for number, role in enumerate(roles)
        for bit, calendar in outlook.candidates(role)
    ]
    return Crew(pairs, counts)


def waived_crew(outlook: Outlook, run: Run, crew: Signal) -> Signal:
    """The crew's signal with every crew waiver; each alone, the best counts."""
    if not run.plan.crew_waivable:
        return crew
    found = [crew]
    for waiver in outlook.waivers.get(CREW, ()):
        if waiver.plans is not None and run.name not in waiver.plans:
            continue
        forces = [
            in_force(outlook, waiver, run.part(role.from_, role.to))
            for role in run.plan.roles
            if role.role in waiver.without
        ]
        if forces:
            rest = crew_of(outlook, run, waiver.without)
            found.append(worst((CONSTANTS[LIMITED], *forces, rest)))
    return Best(found) if len(found) > 1 else crew
