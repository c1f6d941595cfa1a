"""Each occupant is screened by a named person before each pressurisation and each lock-in; not asked is an answer."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from facility import events, services
from facility.models import HouseRule
from tests import make
from tests.treatments.opening.support import opened, put, screened
from tests.treatments.test_runs import signed_in
from treatments.models import Asked, LogEntry, LogKind, Run, RunPlace, RunRole, Screening, ScreeningBefore
from treatments.opening.places import alone, places_of, say_why_alone, take_off
from treatments.opening.screening import missing_screenings
from treatments.opening.services import leave_surface, reach_surface

pytestmark = pytest.mark.django_db
T = make.NOON


def told(run: Run) -> list[tuple[str, str, tuple[str, ...]]]:
    return [(one.place.label, one.before, one.words) for one in missing_screenings(run)]


def moved(run: Run, place: RunPlace, kind: str, at: Any) -> None:
    services.add(LogEntry(run=run, occupant=place, kind=kind, occurred_at=at), by=make.BY)


def test_only_who_goes_under_pressure_is_screened_and_each_by_oneself() -> None:
    run = opened()
    patient = put(run, RunRole.PATIENT)
    put(run, RunRole.TENDER, make.person(run.chamber.site, name="P. Nakoa"))
    put(run, RunRole.PANEL, make.person(run.chamber.site))
    assert told(run) == [("patient 1", "pressure", ("not screened",)), ("P. Nakoa", "pressure", ("not screened",))]
    screened(patient, T)
    assert told(run) == [("P. Nakoa", "pressure", ("not screened",))]


def test_a_no_and_a_not_asked_stay_shown_and_are_stored() -> None:
    run = opened()
    screened(put(run, RunRole.PATIENT), T, ears=Asked.NO, consent=Asked.NOT_ASKED)
    assert told(run) == [("patient 1", "pressure", ("can clear the ears: no", "consents: not asked"))]


def test_a_screening_after_leaving_surface_does_not_become_one_before() -> None:
    run = opened()
    patient = put(run, RunRole.PATIENT)
    leave_surface(run, T, "", True, "", make.BY)
    screened(patient, T + timedelta(minutes=10))
    assert told(run) == [("patient 1", "pressure", ("screened only afterwards",))]


def test_each_lock_in_asks_anew() -> None:
    run = opened()
    patient = put(run, RunRole.PATIENT)
    screened(patient, T - timedelta(minutes=10))
    leave_surface(run, T, "", True, "", make.BY)
    tender = put(run, RunRole.TENDER, make.person(run.chamber.site, name="P. Nakoa"))
    screened(tender, T + timedelta(minutes=50), ScreeningBefore.LOCK_IN)
    assert told(run) == []
    hour = T + timedelta(hours=1)
    moved(run, tender, LogKind.LOCK_IN, hour)
    assert told(run) == []
    moved(run, tender, LogKind.LOCK_OUT, hour + timedelta(minutes=30))
    moved(run, tender, LogKind.LOCK_IN, hour + timedelta(minutes=40))
    assert told(run) == [("P. Nakoa", "lock_in", ("not screened",))]
    screened(tender, hour + timedelta(minutes=35), ScreeningBefore.LOCK_IN)
    assert told(run) == []


def test_what_cannot_be_a_screening_is_refused_by_name() -> None:
    run = opened()
    panel = put(run, RunRole.PANEL, make.person(run.chamber.site))
    with pytest.raises(ValidationError, match="does not go under pressure"):
        screened(panel, T)
    patient = put(run, RunRole.PATIENT)
    with pytest.raises(ValidationError, match="lies after now"):
        screened(patient, events.now() + timedelta(hours=1))
    with pytest.raises(ValidationError, match="perhaps"):
        screened(patient, T, ears="perhaps")
    assert Screening.objects.count() == 0


def test_nothing_is_answered_beforehand_and_an_unanswered_question_is_asked_for() -> None:
    run = opened()
    patient = put(run, RunRole.PATIENT)
    client = signed_in(make.user(run.chamber.site, "tender"))
    address = reverse("treatments:screen", args=[run.chamber.site.key, run.pk, patient.pk])
    assert "checked" not in client.get(address).content.decode()
    at = events.now().strftime("%Y-%m-%d %H:%MZ")
    typed = {"before": "pressure", "clothing": "yes", "items": "yes", "ears": "not asked", "consent": "yes",
             "screened_by": "P. Nakoa", "screened_at": at}  # fmt: skip
    refused = client.post(address, typed)
    assert (refused.status_code, list(refused.context["form"].errors)) == (422, ["contraindications"])
    assert client.post(address, typed | {"contraindications": "yes"}).status_code == 302
    assert Screening.objects.get().screened_by == "P. Nakoa"
    page = client.get(reverse("treatments:run_people", args=[run.chamber.site.key, run.pk])).content.decode()
    assert "can clear the ears: not asked" in page


def test_one_person_as_instructor_and_only_panel_operator_is_asked_why_and_never_refused() -> None:
    run = opened()
    one, other = make.person(run.chamber.site, name="I. Tamaro"), make.person(run.chamber.site)
    put(run, RunRole.INSTRUCTOR, one)
    put(run, RunRole.PANEL, one)
    assert alone(run, places_of(run)) == ["I. Tamaro is instructor and the only panel operator."]
    client = signed_in(make.user(run.chamber.site, "operator"))
    people = reverse("treatments:run_people", args=[run.chamber.site.key, run.pk])
    assert "Say why" in client.get(people).content.decode()
    address = reverse("treatments:say_alone", args=[run.chamber.site.key, run.pk])
    assert client.post(address, {"reason": " "}).status_code == 422
    assert client.post(address, {"reason": "second operator ill"}).status_code == 302
    assert "second operator ill" in client.get(people).content.decode()
    put(run, RunRole.PANEL, other)
    assert alone(run, places_of(run)) == []


def test_a_supervisor_alone_at_the_panel_is_asked_only_where_the_house_says_so() -> None:
    run = opened()
    put(run, RunRole.PANEL, name="I. Tamaro")
    assert alone(run, places_of(run)) == []
    rule = HouseRule(site=run.chamber.site, key="supervisor_at_panel_asks", value=1, approved_by="x", in_force_from=T)
    services.add(rule, by=make.BY)
    assert len(alone(run, places_of(run))) == 1
    with pytest.raises(ValidationError, match="reason"):
        say_why_alone(run, "", by=make.BY)


def test_who_is_put_in_a_run_is_named_once_and_is_of_the_site() -> None:
    run = opened()
    person = make.person(run.chamber.site)
    put(run, RunRole.TENDER, person)
    with pytest.raises(ValidationError, match="of this run already"):
        put(run, RunRole.TENDER, person)
    with pytest.raises(ValidationError, match="nobody of this site"):
        put(run, RunRole.TENDER, make.person())
    with pytest.raises(ValidationError, match="Choose somebody of the crew"):
        put(run, RunRole.PANEL)
    assert [put(run, RunRole.PATIENT).label for _number in range(2)] == ["patient 1", "patient 2"]


def test_a_pseudonym_taken_off_is_not_given_again_and_who_is_in_the_log_stays() -> None:
    run = opened()
    first = put(run, RunRole.PATIENT)
    take_off(first, reason="counted wrong", by=make.BY)
    second = put(run, RunRole.PATIENT)
    assert second.label == "patient 2"
    moved(run, second, LogKind.OXYGEN_ON, T)
    with pytest.raises(ValidationError, match="The log tells of"):
        take_off(second, reason="x", by=make.BY)


def test_a_tenders_last_run_is_known_from_the_records() -> None:
    run = opened()
    person = make.person(run.chamber.site)
    put(run, RunRole.TENDER, person)
    leave_surface(run, T, "", True, "", make.BY)
    reach_surface(run, T + timedelta(hours=5), make.BY)
    other = opened(make.chamber(run.chamber.site))
    assert put(other, RunRole.TENDER, person).previous_exposure_at == T + timedelta(hours=5)
