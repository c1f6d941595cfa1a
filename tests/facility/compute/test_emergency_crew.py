"""The emergency crew beside the minimum crew: the same matching, and no effect on the state."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given

from facility.compute.coverage import coverage, crewed_min
from facility.compute.emergency import crew_finding, crewed_by
from facility.compute.facts import CREW, Role
from facility.compute.facts_json import facility_of
from facility.compute.instants import FactsError, parse_instant
from facility.compute.readiness import evaluate
from tests.make_facts import worked_example
from tests.strategies import facts

AT = parse_instant("2026-11-27T10:00Z")
WORSE = ["holds", "limits", "not known", "stops"]


def test_without_the_tender_the_panel_alone_can_be_crewed_until_8_h_38_before_the_end_of_duty() -> None:
    """By hand: Ana takes the panel and is on duty until 28 Nov 08:00; D is 518 min = 8 h 38; 08:00 less 8 h 38 is 23:22."""
    whole = facility_of(worked_example())
    alone = replace(whole, people={"Ana": whole.people["Ana"]})
    panel = tuple(role for role in whole.plans["TT6"].roles if role.role == "panel")
    assert len(panel) == 1
    assert evaluate(alone, AT)["TT6"].findings[CREW].state == "stops"
    found = crew_finding(alone, "TT6", panel, AT)
    assert found is not None
    assert found.state == "holds"
    assert found.crew is not None
    assert found.crew.filled == (1, 1, 1)
    assert found.start_until == parse_instant("2026-11-27T23:22Z")


def test_a_crew_that_nobody_wrote_down_is_not_shown_as_met() -> None:
    assert crew_finding(facility_of(worked_example()), "TT6", (), AT) is None


def test_a_plan_that_is_not_there_is_named() -> None:
    with pytest.raises(FactsError, match="TT9"):
        crew_finding(facility_of(worked_example()), "TT9", (Role("panel", (), False),), AT)


@given(facts())
def test_a_part_of_the_crew_is_never_harder_to_find_than_the_whole(asked: tuple[dict[str, Any], str]) -> None:
    """A law of matchings: what fills all places fills any of them."""
    facility, at = facility_of(asked[0]), parse_instant(asked[1])
    now = evaluate(facility, at)
    for name, plan in facility.plans.items():
        found = crew_finding(facility, name, plan.roles[:-1], at)
        if found is not None:
            assert WORSE.index(found.state) <= WORSE.index(now[name].findings[CREW].without_waiver)
            part = coverage(crewed_by(facility, name, plan.roles[:-1]), at, 2)[name]
            assert crewed_min(part) >= crewed_min(coverage(crewed_by(facility, name, plan.roles), at, 2)[name])


@given(facts())
def test_the_same_roles_give_the_finding_of_the_minimum_crew(asked: tuple[dict[str, Any], str]) -> None:
    facility, at = facility_of(asked[0]), parse_instant(asked[1])
    now = evaluate(facility, at)
    for name, plan in facility.plans.items():
        found = crew_finding(facility, name, plan.roles, at)
        if found is not None:
            assert (found.state, found.waived) == (now[name].findings[CREW].without_waiver, False)
            assert found.crew == now[name].findings[CREW].crew
