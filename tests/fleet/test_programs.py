"""The page over many sites as JSON for programs."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any

import pytest
from django.test import Client
from django.urls import reverse

from facility.fleet import refreshing
from facility.fleet.board import LIVE_AT_MOST
from facility.models import Organisation
from tests import make
from tests.fleet import build
from tests.fleet.build import PAGE, account, many

if TYPE_CHECKING:
    from datetime import datetime

    from facility.models import Chamber

pytestmark = [pytest.mark.django_db, pytest.mark.both]
T = build.T


TOKEN = "read-only-token-of-the-tests"


def asked(query: str = "", token: str = TOKEN) -> Any:
    return Client().get(f"/organisation.json{query}", headers={"Authorization": f"Bearer {token}"})


def test_the_token_reads_every_chamber_of_the_box(chambers: list[Chamber], settings: Any) -> None:
    settings.API_TOKEN = TOKEN
    refreshing.refresh()
    found = asked().json()
    assert found["counts"] == {"ready": 3, "limits": 0, "stop": 0, "unknown": 0}
    one = found["chambers"][0]
    assert (one["site"], one["state"], one["not_after"]) == ("alna", "Ready", "2026-11-27T10:15Z")
    assert one["tables"][0]["name"] == "Table 6"
    assert found["call_first"].startswith("Call first")
    assert found["caution"]


def test_a_program_is_told_why_a_chamber_is_not_known_and_what_was(clock: list[datetime], settings: Any) -> None:
    settings.API_TOKEN = TOKEN
    many(LIVE_AT_MOST + 1)
    refreshing.refresh()
    clock[0] = T + timedelta(hours=1)
    one = asked("?table=6").json()["chambers"][0]
    assert (one["state"], one["why_not_known"]) == ("Not known", "too old")
    assert one["last_known"] == {"state": "Ready", "at": "2026-11-27T10:00Z"}
    assert {plan["state"] for plan in one["tables"]} == {"Not known"}
    assert (one["as_known_at"], one["holds_until"], one["overdue"]) == (None, None, None)


def test_a_wrong_token_is_refused_and_a_wrong_state_is_named(chambers: list[Chamber], settings: Any) -> None:
    settings.API_TOKEN = TOKEN
    assert asked(token="x" * 30).status_code == 401
    answer = asked("?state=green")
    assert (answer.status_code, "ready, limits" in answer.json()["error"]) == (400, True)
    assert Client().get("/organisation.json").status_code == 302


def test_an_account_reads_its_own_sites_only(chambers: list[Chamber]) -> None:
    client = account(chambers[0].site, chambers[1].site)
    assert [one["site"] for one in client.get("/organisation.json").json()["chambers"]] == ["alna", "bekk"]
    assert [one["site"] for one in account(chambers[2].site).get("/organisation.json").json()["chambers"]] == ["dokka"]
    refused = account().get("/organisation.json")
    assert (refused.status_code, "no role at two sites" in refused.json()["error"]) == (403, True)


def test_the_address_is_one_that_no_site_can_have() -> None:
    assert reverse("fleet:organisation") == PAGE
    with pytest.raises(Exception, match="address of the app"):
        make.site(key="organisation")
    assert not Organisation.objects.filter(sites__key="organisation").exists()
