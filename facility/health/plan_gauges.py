"""How the state of a chamber and of its plans is told to a monitor."""

from __future__ import annotations

from typing import TYPE_CHECKING

from facility.compute.states import STATES
from facility.health.exposition import Gauge

if TYPE_CHECKING:
    from datetime import datetime


class PlanGauges:
    """The measures of chambers and their plans, filled one after the other."""

    def __init__(self) -> None:
        self._state = Gauge(
            "deepstead_plan_state", "1 for the state a plan is in now, 0 for the others. From records only."
        )
        self._chamber = Gauge(
            "deepstead_chamber_state",
            "1 for the word of a chamber over its plans, 0 for the others. From records only.",
        )
        self._until = Gauge("deepstead_plan_holds_until_seconds", "Unix time of the first start with a worse state.")

    def add_chamber(self, state: str, **labels: str) -> None:
        """Add the word of a chamber, which has one even without a plan."""
        for one in STATES:
            self._chamber.add(float(one == state), **labels, state=str(one))

    def add(self, state: str, holds_until: datetime | None, **labels: str) -> None:
        """Add a plan; ``labels`` say which it is."""
        for one in STATES:
            self._state.add(float(one == state), **labels, state=str(one))
        if holds_until is not None:
            self._until.add(holds_until.timestamp(), **labels)

    def all(self) -> list[Gauge]:
        """Return what was added."""
        return [self._chamber, self._state, self._until]
