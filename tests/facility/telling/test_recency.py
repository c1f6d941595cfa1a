"""A qualification that lapses without practice, and who declares not to be fit, as readiness counts them.

The days are worked out by hand beside each test. That an item is good through its last civil day in the zone of the
site is the rule of the design; how many days a site allows is its own house rule (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from facility import services
from facility.compute.instants import instant_of
from facility.compute.readiness import evaluate
from facility.models import Chamber, Person
from facility.readiness.gather import gather
from facility.readiness.services import evaluate_chamber
from facility.readiness.telling.recency import is_practice, last_practised, recency
from tests import make
from tests.facility.readiness_db import build
from tests.facility.readiness_db.build import T
from tests.facility.telling.support import declared, drilled, took_part
from treatments.models import Plan

pytestmark = pytest.mark.django_db
HOUR, DAY = timedelta(hours=1), timedelta(days=1)
ROLE: dict[str, Any] = {"role": "tender", "count": 1, "qualifications": ["inside-tender"], "medical": False}


@pytest.fixture
def plan() -> Plan:
    return build.plan(make.chamber(make.site(zone="Europe/Oslo")), "p", roles=[ROLE])


@pytest.fixture
def ana(plan: Plan) -> Person:
    """A tender on duty, certified on 1 January 2026 without an end; it lapses after 90 days without practice."""
    kind = make.qualification_kind(plan.chamber.site.organisation, key="inside-tender", name="Tender", recency_days=90)
    who = make.person(plan.chamber.site, key="ana", name="Ana")
    build.held(who, kind)
    build.duty(who, T - 400 * DAY, T + 400 * DAY)
    return who


def state(chamber: Chamber, at: datetime = T) -> str:
    (facts,) = gather([chamber], at).values()
    return str(evaluate(facts, instant_of(at))["p"].state)


@pytest.mark.usefixtures("ana")
def test_who_never_practised_counts_from_the_day_of_issue(plan: Plan) -> None:
    # 1 January + 90 days = 1 April; that day ends in Oslo at 22:00 UTC (summer time); the run takes 1 h
    assert state(plan.chamber, datetime(2026, 4, 1, 20, 59, tzinfo=UTC)) == "Ready"
    assert state(plan.chamber, datetime(2026, 4, 1, 21, 0, tzinfo=UTC)) == "Not ready"


def test_an_ended_run_in_the_role_lets_it_count_again(plan: Plan, ana: Person) -> None:
    took_part(ana, plan, "tender", T - 90 * DAY)
    assert state(plan.chamber) == "Ready"
    assert state(plan.chamber, T + DAY) == "Not ready"


def test_a_run_in_another_role_is_no_practice(plan: Plan, ana: Person) -> None:
    took_part(ana, plan, "panel", T - DAY)
    assert state(plan.chamber) == "Not ready"


def test_a_run_struck_out_is_no_practice(plan: Plan, ana: Person) -> None:
    place = took_part(ana, plan, "tender", T - DAY)
    services.retire(place.run, by=make.BY, reason="entered twice")
    assert state(plan.chamber) == "Not ready"


@pytest.mark.parametrize(("reached", "role", "expected"), [
    (True, "", "Ready"), (True, "inside tender", "Ready"), (True, "panel", "Not ready"), (False, "", "Not ready"),
])  # fmt: skip
def test_a_drill_that_reached_its_goal_is_practice(
    plan: Plan, ana: Person, reached: bool, role: str, expected: str
) -> None:
    drilled(ana, T - 5 * DAY, reached=reached, role=role)
    assert state(plan.chamber) == expected


def test_the_certificate_ends_it_where_that_comes_first(plan: Plan, ana: Person) -> None:
    took_part(ana, plan, "tender", T - DAY)
    held = ana.qualifications.get()
    held.expires_on = (T - DAY).date()
    services.change(held, by=make.BY, reason="read again", shown_version=held.row_version)
    assert state(plan.chamber) == "Not ready"


def test_a_kind_without_days_does_not_lapse(plan: Plan, ana: Person) -> None:
    kind = ana.qualifications.get().kind
    kind.recency_days = None
    services.change(kind, by=make.BY, reason="not here", shown_version=kind.row_version)
    assert state(plan.chamber) == "Ready"


def test_the_page_says_that_practice_is_what_lacks(plan: Plan, ana: Person) -> None:
    took_part(ana, plan, "tender", datetime(2026, 8, 1, 12, tzinfo=UTC))
    crew = evaluate_chamber(plan.chamber, T).plain("p")["findings"]["crew"]
    # 1 August + 90 days = 30 October
    assert "Ana: Tender ended with 30 Oct 2026: last practised 1 Aug 2026, lapses after 90 days" in crew["reason"]
    assert "Ana as tender, lacking practice as Tender" in crew["lift"]


def test_the_page_says_until_when_practice_lets_somebody_count(plan: Plan, ana: Person) -> None:
    took_part(ana, plan, "tender", datetime(2026, 11, 1, 12, tzinfo=UTC))
    (member,) = evaluate_chamber(plan.chamber, T).plain("p")["findings"]["crew"]["members"]
    assert "Tender counts through 30 Jan 2027: last practised 1 Nov 2026" in member["reason"]
    assert member["good_until"] == "2027-01-30T23:00Z"


def test_who_declared_not_to_be_fit_is_out_until_the_end_of_it(plan: Plan, ana: Person) -> None:
    drilled(ana, T - DAY)
    declared(ana, T - HOUR, T + 10 * HOUR, fit=False)
    assert state(plan.chamber) == "Not ready"
    assert state(plan.chamber, T + 10 * HOUR) == "Ready"
    crew = evaluate_chamber(plan.chamber, T).plain("p")["findings"]["crew"]
    assert "Ana declared on 27 Nov 2026 10:00 not to be fit, until 27 Nov 2026 21:00." in crew["reason"]
    assert "lacking a declaration of being fit" in crew["lift"]


def test_only_the_newest_declaration_counts(plan: Plan, ana: Person) -> None:
    drilled(ana, T - DAY)
    declared(ana, T - 2 * HOUR, T + 10 * HOUR, fit=False)
    declared(ana, T - HOUR, T + 10 * HOUR, fit=True)
    assert state(plan.chamber) == "Ready"


def test_to_declare_fit_does_not_shorten_a_wait_after_pressure(plan: Plan, ana: Person) -> None:
    drilled(ana, T - DAY)
    build.wait(ana, T - 2 * HOUR, T + HOUR)
    declared(ana, T - HOUR, T + 10 * HOUR, fit=True)
    assert state(plan.chamber) == "Not ready"


def test_practice_of_many_years_takes_no_more_queries(
    plan: Plan, ana: Person, django_assert_num_queries: Callable[[int], Any]
) -> None:
    for days in range(1, 20):
        took_part(ana, plan, "tender", T - days * DAY)
        drilled(ana, T - days * DAY)
    with django_assert_num_queries(2):
        gather([plan.chamber], T)


@given(
    st.dates(date(2025, 1, 1), date(2026, 12, 31)),
    st.integers(1, 400),
    st.lists(
        st.tuples(st.sampled_from(["tender", "panel", "outside"]), st.dates(date(2025, 1, 1), date(2026, 12, 31)))
    ),
)
def test_counting_day_by_day_agrees(issued_on: date, every_days: int, runs: list[tuple[str, date]]) -> None:
    """Slow and obvious: a day is good if issue or a practice lies on one of the days up to ``every_days`` before it."""
    rows = [[role, f"{day.isoformat()} 12:00:00"] for role, day in runs]
    found = recency(every_days, issued_on, last_practised("inside-tender", rows, [], "UTC")).good_through
    begins = {issued_on, *(day for role, day in runs if role == "tender")}
    day = max(begins)
    while any((day - one).days <= every_days for one in begins if one <= day):
        day += DAY
    assert found == day - DAY


def test_a_role_named_by_the_key_needs_no_line() -> None:
    assert is_practice("tender", "tender")
    assert not is_practice("first-aid", "tender")
    assert not is_practice("oxygen-handling", "")
