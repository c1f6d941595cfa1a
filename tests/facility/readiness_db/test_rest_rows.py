"""Rest by the duty roster: off until the house asks for it; then nobody who has not rested counts."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest

from facility import services
from facility.compute.instants import format_instant
from facility.models import Chamber, DutyPeriod, HouseRule, Person
from facility.readiness.services import evaluate_chamber
from tests import make
from tests.facility.readiness_db import build
from tests.facility.readiness_db.build import T

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)
ROLE = {"role": "tender", "count": 1, "qualifications": ["tender"], "medical": False, "from": 0, "to": None}


@pytest.fixture
def chamber() -> Chamber:
    found = make.chamber()
    build.plan(found, "p", roles=[ROLE])
    return found


@pytest.fixture
def bo(chamber: Chamber) -> Person:
    who = make.person(chamber.site, key="bo", name="Bo Test")
    build.held(who, make.qualification_kind(chamber.site.organisation, key="tender"))
    return who


def house(chamber: Chamber, key: str, value: str) -> None:
    services.add(
        HouseRule(
            site=chamber.site, key=key, value=Decimal(value), approved_by="Dr Vale",
            in_force_from=datetime(2026, 1, 1, tzinfo=UTC),
        ),
        by=make.BY,
    )  # fmt: skip


def test_who_came_off_duty_ten_hours_before_counts_until_the_house_asks_for_eleven(
    chamber: Chamber, bo: Person
) -> None:
    """T is 10:00: on duty from 09:00 to 09:00 the next day, before that until 23:00: 10 h of rest."""
    build.duty(bo, T - 20 * HOUR, T - 11 * HOUR)
    build.duty(bo, T - HOUR, T + 23 * HOUR)
    assert evaluate_chamber(chamber, T).evaluations["p"].state == "Ready"
    house(chamber, "least_rest_min", "600")
    assert evaluate_chamber(chamber, T).evaluations["p"].state == "Ready"
    HouseRule.objects.update(value="660")
    answer = evaluate_chamber(chamber, T)
    assert answer.evaluations["p"].state == "Not ready"
    crew = answer.plain("p")["findings"]["crew"]
    assert "Bo Test has not rested by the roster" in crew["reason"]
    assert "rest by the roster" in crew["lift"]
    assert [one["lacks"] for one in crew["lifts"]] == [["wait"]]


def test_the_longest_duty_ends_the_time_to_start_a_run(chamber: Chamber, bo: Person) -> None:
    """On duty since 09:00, at most 12 h: good before 21:00; a start must end by then, so 21:00 less D."""
    build.duty(bo, T - HOUR, T + 23 * HOUR)
    house(chamber, "longest_duty_min", "720")
    answer = evaluate_chamber(chamber, T)
    found = answer.evaluations["p"]
    assert found.state == "Ready"
    crew = found.findings["crew"]
    assert format_instant(crew.lapses_at or 0) == "2026-11-27T21:00Z"
    assert crew.start_until == (crew.lapses_at or 0) - found.duration_min


def test_on_call_away_from_the_site_counts_as_rest(chamber: Chamber, bo: Person) -> None:
    build.duty(bo, T - 20 * HOUR, T - 2 * HOUR)
    build.duty(bo, T - HOUR, T + 23 * HOUR)
    house(chamber, "least_rest_min", "660")
    assert evaluate_chamber(chamber, T).evaluations["p"].state == "Not ready"
    DutyPeriod.objects.filter(ends_at__lt=T).update(on_call=True)
    assert evaluate_chamber(chamber, T).evaluations["p"].state == "Ready"


def test_who_is_inside_a_wait_is_named_with_its_end(chamber: Chamber, bo: Person) -> None:
    """T is 10:00 UTC, at the site an hour more: a wait of twelve hours begun two hours before is over at 21:00 there."""
    build.duty(bo, T - HOUR, T + 23 * HOUR)
    build.wait(bo, T - 2 * HOUR, T + 10 * HOUR)
    build.wait(bo, T + 11 * HOUR, T + 12 * HOUR)
    reason = evaluate_chamber(chamber, T).plain("p")["findings"]["crew"]["reason"]
    assert "Bo Test waits after pressure until 27 Nov 2026 21:00." in reason
