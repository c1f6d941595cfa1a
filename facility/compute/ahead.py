"""The coming 90 days of a plan with what each step comes from, and what a change today would do to it."""

from __future__ import annotations

from dataclasses import dataclass

from facility.compute.facts import Facility
from facility.compute.forecast import FORECAST_MINUTES
from facility.compute.horizons import signals_of
from facility.compute.instants import Instant
from facility.compute.outlook import Outlook
from facility.compute.readiness import known_plan
from facility.compute.states import BAD, GOOD, LIMITED, STATES, UNKNOWN, State


@dataclass(frozen=True, slots=True)
class Step:
    """From ``begin`` on, until the next step: the state of a start, and the needs that are as bad as it.

    Instants in minutes since 1970-01-01T00:00Z. ``needs`` is empty where nothing is wrong.
    """

    begin: Instant
    state: State
    needs: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Lost:
    """A stretch of the 90 days in which a start would be neither Ready nor Ready with limits.

    ``until`` None: to the end of what was looked at.
    """

    begin: Instant
    until: Instant | None
    state: State
    needs: tuple[str, ...]


def steps_ahead(facility: Facility, at: Instant) -> dict[str, list[Step]]:
    """Return the steps of every plan over [at, at + 90 x 24 h), each with the needs that make it so.

    A new step begins where the state or these needs change. Ages and content stay as judged at ``at``, as in the
    forecast. What the plans share is worked out once.
    """
    outlook = Outlook(facility, at, settled=True)
    return {plan: _steps(outlook, plan) for plan in facility.plans}


def _steps(outlook: Outlook, plan: str) -> list[Step]:
    known_plan(outlook.facility, plan)
    signals = signals_of(outlook, outlook.run(plan))
    if not signals:
        return [Step(outlook.at, STATES[UNKNOWN], ())]
    found: list[Step] = []
    start, end = outlook.at, outlook.at + FORECAST_MINUTES
    while start < end:
        levels = {name: signal.level(start) for name, signal in signals.items()}
        level = max(levels.values())
        needs = tuple(name for name, one in levels.items() if one == level) if level > GOOD else ()
        if not found or (found[-1].state, found[-1].needs) != (STATES[level], needs):
            found.append(Step(start, STATES[level], needs))
        start = min(
            min(signal.until_worse(start, levels[name]) if levels[name] < BAD else end,
                signal.until_within(start, levels[name] - 1) if levels[name] > GOOD else end)
            for name, signal in signals.items()
        )  # fmt: skip
    return found


def lost(steps: list[Step]) -> list[Lost]:
    """Return the stretches in which no start is Ready or Ready with limits, each with what it comes from first."""
    found: list[Lost] = []
    fit = {STATES[GOOD], STATES[LIMITED]}
    for step in steps:
        open_end = found and found[-1].until is None
        if step.state in fit:
            if open_end:
                last = found[-1]
                found[-1] = Lost(last.begin, step.begin, last.state, last.needs)
        elif not open_end:
            found.append(Lost(step.begin, None, step.state, step.needs))
    return found


def minutes_lost(steps: list[Step], at: Instant) -> int:
    """Return how many of the 90 days' minutes are lost."""
    end = at + FORECAST_MINUTES
    return sum((one.until or end) - one.begin for one in lost(steps))
