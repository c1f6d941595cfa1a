"""Until when the state of a plan holds, what limits it, and from when it is ready."""

from __future__ import annotations

from facility.compute.facts import CREW
from facility.compute.findings import Finding
from facility.compute.instants import FOREVER, Instant
from facility.compute.needs import crew_of, need_signal, waived_crew
from facility.compute.outlook import Outlook, Run
from facility.compute.signals import Signal, worst
from facility.compute.states import BAD, LIMITED


def holds_until_of(
    outlook: Outlook, run: Run, levels: dict[str, int], findings: dict[str, Finding]
) -> tuple[Instant | None, tuple[str, ...]]:
    """First start with a worse state, and the needs that are then worse than now."""
    level = max(levels.values(), default=BAD)
    if level == BAD:
        return None, ()
    worse: dict[str, Instant] = {}
    for name, finding in findings.items():
        if levels[name] < level:
            worse[name] = signal_of(outlook, run, name).until_worse(outlook.at, level)
        elif finding.start_until is not None:
            worse[name] = finding.start_until
    first = min(worse.values(), default=FOREVER)
    if first >= FOREVER:
        return None, ()
    return first, tuple(name for name, begin in worse.items() if begin == first)


def ready_from_of(outlook: Outlook, run: Run) -> Instant | None:
    """First later start that is Ready or Ready with limits with nobody acting."""
    signals = signals_of(outlook, run)
    if not signals:
        return None
    found = worst(list(signals.values())).until_within(outlook.at, LIMITED)
    return None if found >= FOREVER else found


def signals_of(outlook: Outlook, run: Run) -> dict[str, Signal]:
    """Signals of all that a plan rests on, after waivers."""
    names = [*run.plan.needs, CREW] if run.plan.roles else run.plan.needs
    return {name: signal_of(outlook, run, name) for name in names}


def signal_of(outlook: Outlook, run: Run, name: str) -> Signal:
    """Signal of a need or of the crew, after waivers."""
    if name == CREW:
        return waived_crew(outlook, run, crew_of(outlook, run))
    return need_signal(outlook, run, name)
