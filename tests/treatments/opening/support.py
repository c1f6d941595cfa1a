"""An opened run with crew and a patient, each step through its service."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from facility.models import Chamber, Person
from tests import make
from tests.treatments.test_runs import plan_of
from treatments.models import Asked, Run, RunPlace, RunRole, Screening, ScreeningBefore
from treatments.opening.places import NewPlace, add_place
from treatments.opening.screening import screen
from treatments.opening.services import Opening, open_run


def opened(
    chamber: Chamber | None = None, *, table: str = "TT6", people: tuple[NewPlace, ...] = (), **plan: Any
) -> Run:
    """Return a run on a plan that follows a table, opened and still on surface."""
    made = plan_of(chamber or make.chamber(), table=table, **plan)
    return open_run(Opening(made, "treatment", "I. Tamaro", people=people), by=make.BY)


def put(run: Run, role: RunRole, person: Person | None = None, **more: Any) -> RunPlace:
    """Put somebody in a run."""
    return add_place(run, NewPlace(role, person, **more), by=make.BY)


def screened(place: RunPlace, at: datetime, before: str = ScreeningBefore.PRESSURE, **answers: str) -> Screening:
    """Screen an occupant, everything answered yes unless said otherwise."""
    yes = dict.fromkeys(("clothing", "items", "ears", "consent", "contraindications"), Asked.YES)
    row = Screening(
        run=place.run, occupant=place, before=before, screened_at=at, screened_by="P. Nakoa", **yes | answers
    )
    return screen(row, by=make.BY)
