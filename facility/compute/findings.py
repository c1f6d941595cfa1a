"""What readiness gives back, and its shape in JSON."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

from facility.compute.instants import Instant, format_instant
from facility.compute.states import FindingState, State


@dataclass(frozen=True, slots=True)
class Lift:
    """One person who would fill one more place of ``role``, and what lacks for it."""

    person: str
    role: str
    lacks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CrewPlaces:
    """How the places of a crew are filled.

    ``filled``: by good people, by good or limited, by good, limited or unknown.
    """

    slots: int
    filled: tuple[int, int, int]
    lifts: tuple[Lift, ...]
    roles_short: tuple[str, ...]


class Finding(NamedTuple):
    """State of one need, or of the crew, for one plan at one instant.

    ``counts``: members good, limited, unknown, bad. For the crew: places filled by
    good people, more with limited, more with unknown, and places left.
    """

    state: FindingState
    without_waiver: FindingState
    waived: bool
    counts: tuple[int, int, int, int]
    start_until: Instant | None
    lapses_at: Instant | None
    crew: CrewPlaces | None = None


@dataclass(frozen=True, slots=True)
class Evaluation:
    """Readiness of one plan at one instant."""

    state: State
    duration_min: int
    holds_until: Instant | None
    limiting: tuple[str, ...]
    ready_from: Instant | None
    in_the_way: tuple[str, ...]
    findings: dict[str, Finding]


@dataclass(frozen=True, slots=True)
class Comparison:
    """One plan before and after a what-if."""

    before: Evaluation
    after: Evaluation


def dump_instant(instant: Instant | None) -> str | None:
    """Write an instant, or nothing."""
    return None if instant is None else format_instant(instant)


def dump_finding(finding: Finding) -> dict[str, Any]:
    """Write a finding in its JSON shape."""
    shape: dict[str, Any] = {
        "state": str(finding.state),
        "without_waiver": str(finding.without_waiver),
        "waived": finding.waived,
        "counts": list(finding.counts),
        "start_until": dump_instant(finding.start_until),
        "lapses_at": dump_instant(finding.lapses_at),
    }
    crew = finding.crew
    if crew is not None:
        shape |= {
            "slots": crew.slots,
            "filled": list(crew.filled),
            "lifts": [{"person": lift.person, "role": lift.role, "lacks": list(lift.lacks)} for lift in crew.lifts],
            "roles_short": list(crew.roles_short),
        }
    return shape


def dump_evaluation(evaluation: Evaluation) -> dict[str, Any]:
    """Write an evaluation in its JSON shape."""
    return {
        "state": str(evaluation.state),
        "duration_min": evaluation.duration_min,
        "holds_until": dump_instant(evaluation.holds_until),
        "limiting": list(evaluation.limiting),
        "ready_from": dump_instant(evaluation.ready_from),
        "in_the_way": list(evaluation.in_the_way),
        "findings": {name: dump_finding(finding) for name, finding in evaluation.findings.items()},
    }


def dump_comparison(comparison: Comparison) -> dict[str, Any]:
    """Write a what-if, before and after side by side."""
    return {
        "before": dump_evaluation(comparison.before),
        "after": dump_evaluation(comparison.after),
    }


def dump_forecast(steps: list[tuple[Instant, State]]) -> list[list[str]]:
    """Write a forecast: each step's instant and state."""
    return [[format_instant(instant), str(state)] for instant, state in steps]
