"""The Now and Why pages and the JSON page: what they show, to whom, in how many queries."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from facility import events, services
from facility.gathered import current
from facility.models import Chamber, Check, Contact, Heartbeat, User
from maintenance.models import Equipment
from tests import make
from tests.facility.readiness_db import build

pytestmark = pytest.mark.django_db
MOST_QUERIES = 12  # the limit set for the whole page, session and account included


@pytest.fixture
def chamber(monkeypatch: pytest.MonkeyPatch) -> Chamber:
    monkeypatch.setattr(events, "now", lambda: build.T)
    return build.worked_example()


@pytest.fixture
def supervisor(chamber: Chamber, client: Client) -> User:
    user = make.supervisor(chamber.site)
    client.force_login(user)
    return user


def now_page(client: Client) -> Any:
    return client.get(reverse("readiness:now", args=["skerrow"]))


@pytest.mark.usefixtures("supervisor")
def test_the_now_page_says_what_can_start_and_until_when(client: Client) -> None:
    page = now_page(client)
    text = page.content.decode()
    assert page.status_code == 200
    assert "TT6 can start now." in text
    assert "17:22" in text  # the worked example, by hand
    assert "From records only; the supervisor and the physician decide; local codes prevail." in text


@pytest.mark.usefixtures("supervisor")
def test_the_now_page_takes_at_most_twelve_queries(client: Client, django_assert_max_num_queries: Any) -> None:
    with django_assert_max_num_queries(MOST_QUERIES):
        now_page(client)


@pytest.mark.usefixtures("supervisor")
def test_a_plan_that_is_not_ready_shows_whom_to_call(chamber: Chamber, client: Client) -> None:
    for item in current(Equipment):
        build.defect(item, build.T - timedelta(hours=1), what="reads high")
    services.add(
        Contact(site=chamber.site, key="coast", kind="next_chamber", name="Next chamber", phone="+47 00 11 22 33"),
        by=make.BY,
    )
    page = now_page(client)
    text = page.content.decode()
    assert "+47 00 11 22 33" in text
    assert "number never confirmed" in text
    assert page.context["refused"] == ["TT6"]
    assert [thing.title for thing in page.context["open_things"]].count("G3: reads high") == 1


@pytest.mark.usefixtures("supervisor")
def test_an_unsigned_check_is_shown_with_who_began_it(chamber: Chamber, client: Client) -> None:
    sheet = chamber.sheets.get()
    services.add(
        Check(
            sheet=sheet, version=sheet.versions.get(), number=2, started_at=build.T - timedelta(hours=1),
            started_by="Bo Test",
        ),
        by=make.BY,
    )  # fmt: skip
    (thing,) = now_page(client).context["unsigned_checks"]
    assert "Bo Test" in thing.sub


@pytest.mark.usefixtures("supervisor")
def test_people_on_duty_now_are_shown_until_when(client: Client) -> None:
    shown = {one.name: one.until for one in now_page(client).context["on_call"]}
    assert shown == dict.fromkeys(("Ana", "Bo"), datetime(2026, 11, 28, 8, 0, tzinfo=UTC))


@pytest.mark.usefixtures("supervisor")
def test_a_bank_shows_its_age_and_whether_it_is_enough(client: Client) -> None:
    (row,) = now_page(client).context["gas_rows"]
    assert (row.gas, row.age) == ("O2", 4 * 60)
    (demand,) = row.demands
    assert (demand.plan, demand.litres, demand.enough) == ("TT6", 7000, True)


@pytest.mark.usefixtures("supervisor")
def test_a_qualification_waits_for_a_second_look(chamber: Chamber, client: Client) -> None:
    person = chamber.site.people.get(key="bo")
    kind = make.qualification_kind(chamber.site.organisation, name="Chamber supervisor")
    build.held(person, kind, date(2027, 1, 1), second_look_by="")
    titles = [thing.title for thing in now_page(client).context["open_things"]]
    assert "Bo: Chamber supervisor" in titles


@pytest.mark.usefixtures("supervisor")
def test_a_check_after_the_run_is_owed_until_it_is_signed(chamber: Chamber, client: Client) -> None:
    sheet = build.sheet(chamber, key="after", title="After a run", occasion="after_run")
    type(sheet).objects.filter(pk=sheet.pk).update(recorded_at=build.LONG_AGO)
    build.run(chamber.plans.get(), build.T - timedelta(hours=9), build.T - timedelta(hours=1), build.T)
    titles = [thing.title for thing in now_page(client).context["open_things"]]
    assert "Check after run 1 is owed" in titles


@pytest.mark.usefixtures("supervisor")
@pytest.mark.parametrize(("minutes", "is_said"), [(9, False), (11, True)])
def test_a_job_runner_unseen_for_ten_minutes_is_said(client: Client, minutes: int, *, is_said: bool) -> None:
    Heartbeat.objects.create(name="box", beat_at=build.T - timedelta(minutes=minutes), started_at=build.LONG_AGO)
    assert ("has not been seen since" in now_page(client).content.decode()) is is_said


@pytest.mark.usefixtures("supervisor")
def test_a_clock_behind_the_newest_record_is_not_trusted(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    for days, is_said in ((1, False), (0, True), (2, False)):
        at = build.T + timedelta(days=days)
        monkeypatch.setattr(events, "now", lambda at=at: at)
        if days == 1:
            make.organisation()
        assert ("not trusted" in now_page(client).content.decode()) is is_said, days


@pytest.mark.usefixtures("supervisor")
def test_the_why_page_shows_every_finding_with_its_members(client: Client) -> None:
    page = client.get(reverse("readiness:why", args=["skerrow", "chamber-1", "tt6"]))
    text = page.content.decode()
    assert page.status_code == 200
    for words in ("G1 Depth gauge", "calibration never recorded", "Ana", "8 h 38"):
        assert words in text


@pytest.mark.usefixtures("supervisor")
@pytest.mark.parametrize("path", ["/skerrow/why/chamber-1/none/", "/skerrow/now/none/", "/elsewhere/now/"])
def test_what_is_not_there_is_not_found(client: Client, path: str) -> None:
    assert client.get(path).status_code == 404


def test_a_person_without_a_role_at_the_site_is_told_nothing(chamber: Chamber, client: Client) -> None:
    client.force_login(make.supervisor(make.site()))
    for name in ("readiness:now", "readiness:api"):
        assert client.get(reverse(name, args=[chamber.site.key])).status_code == 404


@pytest.mark.usefixtures("chamber")
def test_nobody_is_sent_to_sign_in(client: Client) -> None:
    assert reverse("accounts:login") in now_page(client).headers["Location"]


@pytest.mark.usefixtures("supervisor")
def test_the_json_page_is_the_command_s_answer(client: Client) -> None:
    answer = client.get(reverse("readiness:api", args=["skerrow"]), {"chamber": "chamber-1"}).json()
    assert [(plan["plan"], plan["holds_until"]) for plan in answer["plans"]] == [("TT6", "2026-11-27T17:22Z")]
    refused = client.get(reverse("readiness:api", args=["skerrow"]), {"at": "soon"})
    assert (refused.status_code, "'soon'" in refused.json()["error"]) == (400, True)


@pytest.mark.usefixtures("supervisor")
def test_home_leads_to_the_only_site(client: Client) -> None:
    assert client.get("/").headers["Location"] == reverse("readiness:now", args=["skerrow"])


def test_home_without_a_site_says_the_next_steps(client: Client) -> None:
    client.force_login(make.user(is_superuser=True))
    assert "No site yet." in client.get("/").content.decode()


def test_a_site_without_a_chamber_shows_nothing_as_ready(client: Client) -> None:
    place = make.site(key="bare")
    client.force_login(make.supervisor(place))
    page = client.get(reverse("readiness:now", args=["bare"]))
    assert page.status_code == 200
    assert "No chamber is recorded yet." in page.content.decode()
