"""What is worth telling at once: which plans changed, and which will be stopped that were not told yet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from facility.compute.states import FINDING_STATES, STATES, State

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Mapping

    from facility.compute.findings import Finding


@dataclass(frozen=True, slots=True)
class Change:
    """One plan whose state is another than the one that people were last told."""

    plan: str
    before: State
    after: State

    @property
    def is_worse(self) -> bool:
        """Whether less can be done than before."""
        return STATES.index(self.after) > STATES.index(self.before)


def told_state(findings: Mapping[str, Finding], left_out: Collection[str] = ()) -> State:
    """Return a plan's state without some needs: that a run is on in the chamber is known to whoever runs it.

    Valid: the state of a plan is that of its worst finding; one without findings is Ready.
    """
    levels = (FINDING_STATES.index(found.state) for need, found in findings.items() if need not in left_out)
    return STATES[max(levels, default=0)]


def changes(before: Mapping[str, str], after: Mapping[str, State]) -> list[Change]:
    """Return the plans whose state changed. One that is new or gone changed nothing that anybody was told.

    >>> changes({"t6": "Ready", "old": "Ready"}, {"t6": State.NOT_READY, "new": State.READY})
    [Change(plan='t6', before=<State.READY: 'Ready'>, after=<State.NOT_READY: 'Not ready'>)]
    """
    return [
        Change(plan, State(before[plan]), state)
        for plan, state in after.items()
        if plan in before and before[plan] != state
    ]


def not_told(found: Iterable[str], told: Collection[str]) -> list[str]:
    """Return what was not told yet, each once, in the order found."""
    return [key for key in dict.fromkeys(found) if key not in told]


@dataclass(frozen=True, slots=True)
class Heard:
    """How often one kind of notice was sent, and how often somebody acted on it."""

    kind: str
    sent: int
    acted: int

    @property
    def percent(self) -> int | None:
        """Acted on over sent in whole percent, cut off; None if none was sent."""
        return 100 * self.acted // self.sent if self.sent else None


def worst_of(rows: Iterable[Heard], least_sent: int, enough_percent: int) -> Heard | None:
    """Return the kind that was acted on least of those sent often enough to tell; None if each is acted on enough.

    >>> worst_of([Heard("a", 20, 3), Heard("b", 9, 0), Heard("c", 20, 12)], 10, 50).kind
    'a'
    >>> worst_of([Heard("c", 20, 12)], 10, 50) is None
    True
    """
    judged = [row for row in rows if row.sent >= least_sent and 100 * row.acted < enough_percent * row.sent]
    return min(judged, key=lambda row: (row.acted / row.sent, -row.sent), default=None)
