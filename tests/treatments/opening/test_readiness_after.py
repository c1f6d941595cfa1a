"""A tender who came out of a run is not counted for the next until the wait of the plan is over, with the reason."""

from __future__ import annotations

from datetime import timedelta

import pytest

from facility.compute.states import FindingState
from facility.readiness.services import evaluate_chamber
from tests import make
from tests.facility.readiness_db import build
from treatments.models import RunRole
from treatments.opening.places import NewPlace
from treatments.opening.services import Opening, leave_surface, open_run, reach_surface

pytestmark = pytest.mark.django_db
T, HOUR = build.T, timedelta(hours=1)


def test_a_tender_waits_with_the_reason_and_counts_again_when_the_wait_is_over() -> None:
    chamber = make.chamber()
    site = chamber.site
    kind = make.qualification_kind(site.organisation, key="tender", name="Inside tender")
    who = make.person(site, name="P. Nakoa")
    build.held(who, kind)
    build.medical(who)
    build.duty(who, T - HOUR, T + 48 * HOUR)
    roles = [{"role": "tender", "count": 1, "qualifications": ["tender"], "medical": True, "from": 0, "to": None}]
    plan = build.plan(chamber, "table-6", roles=roles, table="TT6")

    def crew(at: timedelta) -> tuple[str, str]:
        answer = evaluate_chamber(chamber, T + at)
        return answer.evaluations["table-6"].findings["crew"].state, answer.reason("table-6", "crew")

    assert crew(-timedelta(0))[0] == FindingState.HOLDS
    run = open_run(Opening(plan, "treatment", "I. Tamaro", people=(NewPlace(RunRole.TENDER, who),)), by=make.BY)
    assert crew(timedelta(0))[0] == FindingState.HOLDS, "an opened run binds nobody"
    leave_surface(run, T, "", True, "", make.BY)
    reach_surface(run, T + HOUR, make.BY)
    state, reason = crew(2 * HOUR)
    assert state == FindingState.STOPS
    assert "P. Nakoa" in reason
    assert crew(13 * HOUR - timedelta(minutes=1))[0] == FindingState.STOPS
    assert crew(13 * HOUR + timedelta(minutes=1))[0] == FindingState.HOLDS, "12 h after reaching surface"
