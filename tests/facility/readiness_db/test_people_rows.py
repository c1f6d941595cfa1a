"""People from rows: until when a member is good, and who fills a crew; the rules as in facility/compute."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from facility import services
from facility.compute import facts as f
from facility.compute.instants import instant_of
from facility.compute.readiness import evaluate
from facility.models import Chamber, Person, QualificationKind
from facility.readiness.gather import gather
from tests import make
from tests.facility.readiness_db import build
from tests.facility.readiness_db.build import T

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)
TENDER: dict[str, Any] = {"role": "tender", "count": 1, "qualifications": ["tender"], "medical": True}


@pytest.fixture
def chamber() -> Chamber:
    found = make.chamber(make.site(zone="Europe/Oslo"))
    build.plan(found, "p", roles=[TENDER])
    return found


@pytest.fixture
def kind(chamber: Chamber) -> QualificationKind:
    return make.qualification_kind(chamber.site.organisation, key="tender")


@pytest.fixture
def ana(chamber: Chamber) -> Person:
    return make.person(chamber.site, key="ana")


def on_duty(who: Person) -> Person:
    build.duty(who, T - HOUR, T + 24 * HOUR)
    return who


def facts_of(chamber: Chamber, at: datetime = T) -> f.Facility:
    (found,) = gather([chamber], at).values()
    return found


def state(chamber: Chamber, at: datetime = T) -> str:
    return str(evaluate(facts_of(chamber, at), instant_of(at))["p"].state)


def test_a_good_person_fills_the_role(chamber: Chamber, ana: Person, kind: QualificationKind) -> None:
    build.held(on_duty(ana), kind)
    build.medical(ana)
    assert state(chamber) == "Ready"


def test_a_qualification_is_good_through_its_last_day(chamber: Chamber, ana: Person, kind: QualificationKind) -> None:
    build.held(on_duty(ana), kind, date(2026, 11, 27))
    build.medical(ana)
    # the day ends in Oslo at 23:00 UTC; a run of one hour must end before
    assert state(chamber, datetime(2026, 11, 27, 21, 59, tzinfo=UTC)) == "Ready"
    assert state(chamber, datetime(2026, 11, 27, 22, 0, tzinfo=UTC)) == "Not ready"


def test_a_qualification_waiting_for_a_second_look_is_not_known(
    chamber: Chamber, ana: Person, kind: QualificationKind
) -> None:
    build.held(on_duty(ana), kind, second_look_by="")
    build.medical(ana)
    assert state(chamber) == "Not known"


def test_a_qualification_not_held_is_not_ready(chamber: Chamber, ana: Person) -> None:
    build.medical(on_duty(ana))
    assert state(chamber) == "Not ready"


def test_no_medical_on_record_is_not_known(chamber: Chamber, ana: Person, kind: QualificationKind) -> None:
    build.held(on_duty(ana), kind)
    assert state(chamber) == "Not known"


@pytest.mark.parametrize(
    ("outcome", "expected"), [("fit", "Ready"), ("limited", "Ready with limits"), ("unfit", "Not ready")]
)
def test_only_the_newest_examination_counts(
    chamber: Chamber, ana: Person, kind: QualificationKind, outcome: str, expected: str
) -> None:
    build.held(on_duty(ana), kind)
    build.medical(ana)
    build.medical(ana, outcome, examined_on=date(2026, 11, 20))
    assert state(chamber) == expected


def test_an_examination_that_was_good_for_longer_is_replaced_by_a_newer_one(
    chamber: Chamber, ana: Person, kind: QualificationKind
) -> None:
    build.held(on_duty(ana), kind)
    build.medical(ana)
    build.medical(ana, examined_on=date(2026, 6, 1), good_until=date(2026, 11, 26))
    assert state(chamber) == "Not ready"


def test_off_duty_is_not_ready_while_the_roster_goes_on(chamber: Chamber, ana: Person, kind: QualificationKind) -> None:
    build.held(ana, kind)
    build.medical(ana)
    build.duty(ana, T + 5 * HOUR, T + 9 * HOUR)
    assert state(chamber) == "Not ready"
    assert facts_of(chamber).roster_until == instant_of(T + 9 * HOUR)


def test_beyond_the_end_of_the_roster_is_not_known(chamber: Chamber, ana: Person, kind: QualificationKind) -> None:
    build.held(ana, kind)
    build.medical(ana)
    build.duty(ana, T - 9 * HOUR, T - HOUR)
    assert state(chamber) == "Not known"


def test_spans_are_rounded_to_whole_minutes_the_careful_way(chamber: Chamber, ana: Person) -> None:
    second = timedelta(seconds=1)
    build.duty(ana, T - HOUR + second, T + HOUR + second)
    build.wait(ana, T - HOUR + second, T + HOUR + second)
    found = facts_of(chamber).people["ana"]
    assert found.duty == (f.Span(instant_of(T - HOUR) + 1, instant_of(T + HOUR)),)
    assert found.waits == (f.Span(instant_of(T - HOUR), instant_of(T + HOUR) + 1),)


def test_a_wait_after_pressure_ends_at_its_end(chamber: Chamber, ana: Person, kind: QualificationKind) -> None:
    build.held(on_duty(ana), kind)
    build.medical(ana)
    build.wait(ana, T - HOUR, T + HOUR)
    assert state(chamber) == "Not ready"
    assert state(chamber, T + HOUR) == "Ready"


def test_a_person_who_left_no_longer_counts(chamber: Chamber, ana: Person, kind: QualificationKind) -> None:
    build.held(on_duty(ana), kind)
    build.medical(ana)
    services.retire(ana, by=make.BY, reason="moved away")
    assert "ana" not in facts_of(chamber).people
    assert state(chamber) != "Ready"
