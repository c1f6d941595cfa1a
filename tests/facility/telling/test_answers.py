"""Answers for programs: who may ask, the shapes of the readiness facts, and that nothing is stored."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from facility import events
from facility.models import Chamber, Event
from facility.readiness.telling import answers
from tests import make
from tests.facility.readiness_db import build

pytestmark = pytest.mark.django_db
TOKEN = "read-only-token-of-the-tests"
CAUTION = "From records only; the supervisor and the physician decide; local codes prevail."
NAMES = ("readiness:api", "readiness:forecast_json", "readiness:what_if_json")


@pytest.fixture(autouse=True)
def chamber(monkeypatch: pytest.MonkeyPatch, settings: Any) -> Chamber:
    settings.API_TOKEN = TOKEN
    monkeypatch.setattr(events, "now", lambda: build.T)
    return build.worked_example()


def ask(name: str, query: str = "", *, token: str = TOKEN, body: Any = None) -> Any:
    address = f"{reverse(name, args=['skerrow'])}?{query}"
    header = {"Authorization": f"Bearer {token}"}
    if body is None:
        return Client().get(address, headers=header)
    text = body if isinstance(body, str | bytes) else json.dumps(body)
    return Client(enforce_csrf_checks=True).post(address, text, content_type="application/json", headers=header)


def test_the_token_reads_the_answer_of_the_worked_example() -> None:
    found = ask("readiness:api").json()
    assert found["plans"][0]["holds_until"] == "2026-11-27T17:22Z"  # the worked example, by hand
    assert found["caution"] == CAUTION


@pytest.mark.parametrize("name", NAMES)
def test_a_wrong_token_is_refused_with_what_to_send(name: str) -> None:
    answer = ask(name, token=TOKEN + "x")
    assert answer.status_code == 401
    assert answer["WWW-Authenticate"] == "Bearer"
    assert "DEEPSTEAD_API_TOKEN" in answer.json()["error"]


@pytest.mark.parametrize("token", ["", "too-short"])
def test_without_a_token_set_or_with_a_short_one_none_is_taken(settings: Any, token: str) -> None:
    settings.API_TOKEN = token
    assert ask("readiness:api", token=token).status_code == 401


@pytest.mark.parametrize("name", NAMES)
def test_an_account_without_a_role_there_finds_nothing(client: Client, name: str) -> None:
    client.force_login(make.supervisor(make.site()))
    assert client.get(reverse(name, args=["skerrow"])).status_code == 404


def test_the_token_finds_no_site_that_is_not_there() -> None:
    answer = Client().get("/nowhere/readiness.json", headers={"Authorization": f"Bearer {TOKEN}"})
    assert answer.status_code == 404


def test_the_token_opens_no_page(chamber: Chamber) -> None:
    answer = Client().get(reverse("readiness:now", args=["skerrow"]), headers={"Authorization": f"Bearer {TOKEN}"})
    assert answer.status_code == 302


def test_the_forecast_begins_now_and_changes_at_the_hour_worked_out_by_hand() -> None:
    found = ask("readiness:forecast_json", "plan=tt6").json()
    assert found["steps"][:2] == [["2026-11-27T10:00Z", "Ready"], ["2026-11-27T17:22Z", "Not known"]]
    assert (found["chamber"], found["plan"], found["caution"]) == ("chamber-1", "tt6", CAUTION)


def test_without_bo_one_place_is_short_and_nothing_is_stored() -> None:
    before = Event.objects.count()
    found = ask("readiness:what_if_json", "plan=tt6", body={"op": "without person", "person": "bo"}).json()
    assert (found["before"]["state"], found["after"]["state"]) == ("Ready", "Not ready")
    assert found["after"]["in_the_way"] == ["crew"]
    assert found["caution"] == CAUTION
    assert Event.objects.count() == before


def test_no_change_changes_nothing() -> None:
    found = ask("readiness:what_if_json", "plan=tt6", body=[]).json()
    assert found["before"] == found["after"]


@pytest.mark.parametrize(("query", "body", "words"), [
    ("", [], "Name the plan"),
    ("plan=tt9", [], "No plan 'tt9'"),
    ("plan=tt6&at=yesterday", [], "is not an instant"),
    ("plan=tt6&chamber=c9", [], "no chamber 'c9'"),
    ("plan=tt6", "{", "JSON"),
    ("plan=tt6", b"\xff\xfe", "UTF-8"),
    ("plan=tt6", [{"op": "fly"}], "fly"),
    ("plan=tt6", [{"op": "without person", "person": "nobody"}], "nobody"),
])  # fmt: skip
def test_what_cannot_be_answered_is_named(query: str, body: Any, words: str) -> None:
    answer = ask("readiness:what_if_json", query, body=body)
    assert answer.status_code == 400
    assert words in answer.json()["error"]


def test_more_changes_than_a_question_needs_are_refused() -> None:
    assert ask("readiness:what_if_json", "plan=tt6", body=" " * (answers.MOST_BYTES + 1)).status_code == 413


def test_the_forecast_takes_no_form_and_the_what_if_no_look() -> None:
    assert ask("readiness:forecast_json", "plan=tt6", body=[]).status_code == 405
    assert ask("readiness:what_if_json", "plan=tt6").status_code == 405


def test_the_forecast_may_be_asked_for_another_instant() -> None:
    later = (build.T + timedelta(hours=8)).strftime("%Y-%m-%dT%H:%MZ")
    assert ask("readiness:forecast_json", f"plan=tt6&at={later}").json()["steps"][0] == [later, "Not known"]


@pytest.mark.parametrize("at", ["0001-01-01T00:00Z", "1899-12-31T23:59Z", "9999-12-31T23:59Z"])
@pytest.mark.parametrize("name", NAMES)
def test_an_instant_that_no_record_can_have_is_refused_with_the_years_that_are_taken(name: str, at: str) -> None:
    body: list[Any] | None = [] if name == "readiness:what_if_json" else None
    answer = ask(name, f"plan=tt6&at={at}", body=body)
    assert answer.status_code == 400
    assert "1900 to 2199" in answer.json()["error"]


@pytest.mark.parametrize(
    "body", ["9" * 5000, '[{"op": "late", "member": "x", "days": 1e99999999999999999999}]', "[" * 9000]
)
def test_changes_that_no_number_or_depth_of_json_can_hold_are_refused_in_words(body: str) -> None:
    answer = ask("readiness:what_if_json", "plan=tt6", body=body)
    assert answer.status_code == 400
    assert "Not facts" in answer.json()["error"]
