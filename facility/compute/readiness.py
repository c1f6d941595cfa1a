"""May this run start now, can it be finished, what stands in the way, until when?

Pure: a frozen ``Facility`` and an instant in, frozen values out.
"""

from __future__ import annotations

from facility.compute.crew import Crew
from facility.compute.facts import CREW, Facility
from facility.compute.findings import Evaluation, Finding
from facility.compute.horizons import holds_until_of, ready_from_of
from facility.compute.instants import FOREVER, FactsError, Instant
from facility.compute.lifts import crew_places
from facility.compute.needs import (
    crew_of,
    members_of,
    shared,
    steady,
    unwaived,
    waived,
    waived_crew,
)
from facility.compute.outlook import Outlook, Run
from facility.compute.shared_needs import counts_of, need_level
from facility.compute.signals import Signal
from facility.compute.states import BAD, FINDING_STATES, LIMITED, STATES, UNKNOWN


def evaluate(facility: Facility, at: Instant) -> dict[str, Evaluation]:
    """Readiness of every plan at ``at``.

    Units: instants in minutes since 1970-01-01T00:00Z.
    """
    outlook = Outlook(facility, at)
    return {plan: evaluate_run(outlook, outlook.run(plan)) for plan in facility.plans}


def evaluate_plan(facility: Facility, plan: str, at: Instant) -> Evaluation:
    """Readiness of one plan at ``at``.

    Errors: FactsError if the facility has no such plan.
    """
    known_plan(facility, plan)
    outlook = Outlook(facility, at)
    return evaluate_run(outlook, outlook.run(plan))


def known_plan(facility: Facility, plan: str) -> None:
    """Refuse a plan that the facility does not have."""
    if plan not in facility.plans:
        known = ", ".join(facility.plans) or "none at all"
        raise FactsError(f"No plan {plan!r}. Known: {known}.")


def evaluate_run(outlook: Outlook, run: Run) -> Evaluation:
    """Readiness of one plan in an outlook that is shared by several."""
    findings: dict[str, Finding] = {}
    levels: dict[str, int] = {}
    for name in run.plan.needs:
        levels[name], findings[name] = _need(outlook, run, name)
    if run.plan.roles:
        levels[CREW], findings[CREW] = _crew(outlook, run)
    level = max(levels.values(), default=UNKNOWN)
    holds_until, limiting = holds_until_of(outlook, run, levels, findings)
    return Evaluation(
        state=STATES[level],
        duration_min=run.duration,
        holds_until=holds_until,
        limiting=limiting,
        ready_from=ready_from_of(outlook, run) if level >= UNKNOWN else None,
        in_the_way=tuple(name for name, one in levels.items() if one > LIMITED),
        findings=findings,
    )


def _need(outlook: Outlook, run: Run, name: str) -> tuple[int, Finding]:
    found = steady(outlook, name)
    if found is None:
        return _changing_need(outlook, run, name)
    need = outlook.facility.needs[name]
    begin = lapse = None
    if found.worse_at < FOREVER:
        lapse = found.worse_at
        begin = lapse - run.part(need.from_, need.to)[1]
    word = FINDING_STATES[found.level]
    return found.level, Finding(word, word, False, found.counts, begin, lapse)


def _changing_need(outlook: Outlook, run: Run, name: str) -> tuple[int, Finding]:
    at = outlook.at
    need = outlook.facility.needs[name]
    members = members_of(outlook, run, name)
    counts = counts_of([member.level(at) for member in members])
    raw = unwaived(need, members)
    signal = waived(outlook, run, name, members, raw)
    before = need_level(counts, need)
    level = before if signal is raw else signal.level(at)
    return level, Finding(
        state=FINDING_STATES[level],
        without_waiver=FINDING_STATES[before],
        waived=level < before,
        counts=counts,
        start_until=_first_worse(signal, at, level),
        lapses_at=_lapse(outlook, run, name),
    )


def _first_worse(signal: Signal, at: Instant, level: int) -> Instant | None:
    if level >= BAD:
        return None
    instant = signal.until_worse(at, level)
    return None if instant >= FOREVER else instant


def _lapse(outlook: Outlook, run: Run, name: str) -> Instant | None:
    """First instant at which the need itself, asked with a run of no length, is worse."""
    need = outlook.facility.needs[name]
    key: object = name
    if key in outlook.lapses:
        return outlook.lapses[key]
    if shared(outlook, name) is None:
        scoped = not outlook.scoped.isdisjoint(need.members)
        demand = run.plan.gas.get(need.gas) if need.gas is not None else None
        key = (name, run.name if scoped else None, demand)
    if key not in outlook.lapses:
        point = outlook.point(run)
        at = outlook.at
        signal = unwaived(need, members_of(outlook, point, name))
        outlook.lapses[key] = _first_worse(signal, at, signal.level(at))
    return outlook.lapses[key]


def _crew(outlook: Outlook, run: Run) -> tuple[int, Finding]:
    at = outlook.at
    crew = crew_of(outlook, run)
    places = crew_places(outlook, run, crew)
    good, limited, unknown = places.filled
    counts = (good, limited - good, unknown - limited, places.slots - unknown)
    before = next((one for one in range(BAD) if places.filled[one] == places.slots), BAD)
    signal = waived_crew(outlook, run, crew)
    level = before if signal is crew else signal.level(at)
    return level, Finding(
        state=FINDING_STATES[level],
        without_waiver=FINDING_STATES[before],
        waived=level < before,
        counts=counts,
        start_until=_first_worse(signal, at, level),
        lapses_at=_crew_lapse(outlook, run),
        crew=places,
    )


def _crew_lapse(outlook: Outlook, run: Run) -> Instant | None:
    key = tuple((role.count, role.qualifications, role.medical) for role in run.plan.roles)
    if key not in outlook.lapses:
        crew: Crew = crew_of(outlook, outlook.point(run))
        at = outlook.at
        outlook.lapses[key] = _first_worse(crew, at, crew.level(at))
    return outlook.lapses[key]
