"""May this run start now, can it be finished, what stands in the way, until when?

Pure: a frozen ``Facility`` and an instant in, frozen values out.
"""

from __future__ import annotations

from facility.compute.crew import Crew
from facility.compute.facts import CREW, Facility
from facility.compute.findings import Evaluation, Finding
from facility.compute.horizons import horizons
from facility.compute.instants import FOREVER, FactsError, Instant
from facility.compute.lifts import crew_places
from facility.compute.needs import crew_of, members_of, unwaived, waived, waived_crew
from facility.compute.outlook import Outlook, Run
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
    signals: dict[str, Signal] = {}
    levels: dict[str, int] = {}
    for name in dict.fromkeys(run.plan.needs):
        signals[name], levels[name], findings[name] = _need(outlook, run, name)
    if run.plan.roles:
        signals[CREW], levels[CREW], findings[CREW] = _crew(outlook, run)
    level = max(levels.values(), default=UNKNOWN)
    begins = {
        name: finding.start_until
        for name, finding in findings.items()
        if levels[name] == level
    }
    holds_until, limiting, ready_from = horizons(signals, begins, level, outlook.at)
    return Evaluation(
        state=STATES[level],
        duration_min=run.duration,
        holds_until=holds_until,
        limiting=limiting,
        ready_from=ready_from,
        in_the_way=tuple(name for name, one in levels.items() if one > LIMITED),
        findings=findings,
    )


def signals_of(outlook: Outlook, run: Run) -> dict[str, Signal]:
    """Signals of all that a plan rests on, after waivers."""
    found: dict[str, Signal] = {}
    for name in dict.fromkeys(run.plan.needs):
        need = outlook.facility.needs[name]
        members = members_of(outlook, run, need)
        found[name] = waived(outlook, run, name, members, unwaived(need, members))
    if run.plan.roles:
        found[CREW] = waived_crew(outlook, run, crew_of(outlook, run))
    return found


def _need(outlook: Outlook, run: Run, name: str) -> tuple[Signal, int, Finding]:
    at = outlook.at
    need = outlook.facility.needs[name]
    members = members_of(outlook, run, need)
    counts = [0, 0, 0, 0]
    for member in members:
        counts[member.level(at)] += 1
    before = _level(counts, need.k, limits=need.effect == "limits")
    raw = unwaived(need, members)
    signal = waived(outlook, run, name, members, raw)
    level = before if signal is raw else signal.level(at)
    finding = Finding(
        state=FINDING_STATES[level],
        without_waiver=FINDING_STATES[before],
        waived=level < before,
        counts=(counts[0], counts[1], counts[2], counts[3]),
        start_until=_first_worse(signal, at, level),
        lapses_at=_lapse(outlook, run, name),
    )
    return signal, level, finding


def _level(counts: list[int], k: int, *, limits: bool) -> int:
    """Rules 1 to 4 on the counts of members."""
    enough = 0
    for level, count in enumerate(counts[:BAD]):
        enough += count
        if enough >= k:
            return min(level, LIMITED) if limits else level
    return LIMITED if limits else BAD


def _first_worse(signal: Signal, at: Instant, level: int) -> Instant | None:
    if level >= BAD:
        return None
    instant = signal.until_worse(at, level)
    return None if instant >= FOREVER else instant


def _lapse(outlook: Outlook, run: Run, name: str) -> Instant | None:
    """First instant at which the need itself, asked with a run of no length, is worse."""
    need = outlook.facility.needs[name]
    scoped = not outlook.scoped.isdisjoint(need.members)
    demand = run.plan.gas.get(need.gas) if need.gas is not None else None
    key = (name, run.name if scoped else None, demand)
    if key not in outlook.lapses:
        point = outlook.point(run)
        signal = unwaived(need, members_of(outlook, point, need))
        at = outlook.at
        outlook.lapses[key] = _first_worse(signal, at, signal.level(at))
    return outlook.lapses[key]


def _crew(outlook: Outlook, run: Run) -> tuple[Signal, int, Finding]:
    at = outlook.at
    crew = crew_of(outlook, run)
    places = crew_places(outlook, run, crew)
    good, limited, unknown = places.filled
    counts = (good, limited - good, unknown - limited, places.slots - unknown)
    before = _level(list(counts), places.slots, limits=False)
    signal = waived_crew(outlook, run, crew)
    level = before if signal is crew else signal.level(at)
    finding = Finding(
        state=FINDING_STATES[level],
        without_waiver=FINDING_STATES[before],
        waived=level < before,
        counts=counts,
        start_until=_first_worse(signal, at, level),
        lapses_at=_crew_lapse(outlook, run),
        crew=places,
    )
    return signal, level, finding


def _crew_lapse(outlook: Outlook, run: Run) -> Instant | None:
    key = tuple(
        (role.count, role.qualifications, role.medical) for role in run.plan.roles
    )
    if key not in outlook.lapses:
        crew: Crew = crew_of(outlook, outlook.point(run))
        at = outlook.at
        outlook.lapses[key] = _first_worse(crew, at, crew.level(at))
    return outlook.lapses[key]
