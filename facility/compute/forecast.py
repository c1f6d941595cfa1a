"""The same readiness over the coming 90 days, as a step function."""

from __future__ import annotations

from facility.compute.facts import Facility
from facility.compute.horizons import signals_of
from facility.compute.instants import FOREVER, MINUTES_PER_DAY, Instant
from facility.compute.outlook import Outlook
from facility.compute.readiness import known_plan
from facility.compute.signals import Signal
from facility.compute.states import BAD, GOOD, STATES, UNKNOWN, State
from facility.compute.steps import Steps, worst_of_steps

FORECAST_MINUTES = 90 * MINUTES_PER_DAY


def forecast(facility: Facility, plan: str, at: Instant) -> list[tuple[Instant, State]]:
    """States of a plan for starts from ``at`` until 90 days later, step by step.

    Ages and content stay as judged at ``at``: the routine is assumed done.
    Errors: FactsError if the facility has no such plan.
    """
    known_plan(facility, plan)
    return forecast_in(Outlook(facility, at, settled=True), plan)


def forecast_all(facility: Facility, at: Instant) -> dict[str, list[tuple[Instant, State]]]:
    """Forecast of every plan; what the plans share is worked out once."""
    outlook = Outlook(facility, at, settled=True)
    return {plan: forecast_in(outlook, plan) for plan in facility.plans}


def forecast_in(outlook: Outlook, plan: str) -> list[tuple[Instant, State]]:
    """Forecast of one plan in an outlook made with ``settled``."""
    at, end = outlook.at, outlook.at + FORECAST_MINUTES
    signals = signals_of(outlook, outlook.run(plan))
    if not signals:
        return [(at, STATES[UNKNOWN])]
    many = [_steps(signal, at, end) for signal in signals.values()]
    instants, levels = worst_of_steps(many, at)
    return [(instant, STATES[level]) for instant, level in zip(instants, levels, strict=True)]


def _steps(signal: Signal, at: Instant, end: Instant) -> Steps:
    """Every change of a signal in [at, end)."""
    instants: list[Instant] = []
    levels: list[int] = []
    while at < end:
        level = signal.level(at)
        instants.append(at)
        levels.append(level)
        worse = FOREVER if level >= BAD else signal.until_worse(at, level)
        better = FOREVER if level == GOOD else signal.until_within(at, level - 1)
        at = min(worse, better)
    return instants, levels
