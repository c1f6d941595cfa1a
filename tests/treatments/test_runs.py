"""Runs: one at a time, never refused for readiness, with the waits of those inside."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse

from facility import events, services
from facility.models import Chamber, Check, CheckSheet, Event, SheetVersion
from tests import make
from treatments.models import Plan, PressureWait, Run
from treatments.opening.services import Opening, Start, reach_surface, start_run
from treatments.services import put_in_force

pytestmark = pytest.mark.django_db


def signed_in(user: Any) -> Client:
    client = Client()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return client


def plan_of(chamber: Chamber, **fields: Any) -> Plan:
    defaults = {
        "chamber": chamber, "key": "table-5", "name": "Table 5", "party": "1 patient, 1 tender", "table_min": 138, "margin_min": 30,
        "wait_min": 720, "extensions": [{"minutes": 25, "allowed": 2}], "roles": [{"role": "supervisor"}], "gas": {},
        "approved_by": "Dr Vale", "in_force_from": make.NOON,
    }  # fmt: skip
    return put_in_force(Plan(**defaults | fields), [], by=make.BY, reason="test")


def start(plan: Plan, at: Any = make.NOON, *, ready: bool = True, reason: str = "") -> Run:
    opening = Opening(plan, "treatment", "I. Tamaro")
    return start_run(opening, Start(at, "Table 5: Ready", ready, reason), by=make.BY)


def test_a_run_ends_as_planned_after_table_and_extensions_without_the_margin() -> None:
    run = start(plan_of(make.chamber()))
    assert run.planned_end_at == make.NOON + timedelta(minutes=188)  # hand sum: 138 + 2 x 25
    assert (run.number, run.outside_house_rules) == (1, False)


def test_one_run_at_a_time_in_a_chamber_and_numbers_run_on() -> None:
    plan = plan_of(make.chamber())
    run = start(plan)
    with pytest.raises(ValidationError, match="still on"):
        start(plan, make.NOON + timedelta(hours=1))
    reach_surface(run, make.NOON + timedelta(hours=3), make.BY, [])
    with pytest.raises(ValidationError, match="ended after this time"):
        start(plan, make.NOON + timedelta(hours=2))
    assert start(plan, make.NOON + timedelta(hours=3)).number == 2
    assert start(plan_of(make.chamber())).number == 1


def test_a_run_outside_the_house_rules_needs_a_reason_and_keeps_it() -> None:
    plan = plan_of(make.chamber())
    with pytest.raises(ValidationError, match="Say why"):
        start(plan, ready=False)
    run = start(plan, ready=False, reason="diver cannot wait")
    assert run.outside_house_rules
    assert "diver cannot wait" in run.shown
    assert Event.objects.latest("seq").action == "run started outside the house rules"


def test_those_inside_wait_from_the_start_until_the_plans_wait_after_the_end() -> None:
    chamber = make.chamber()
    run = start(plan_of(chamber))
    inside = make.person(chamber.site)
    ended = make.NOON + timedelta(minutes=200)
    reach_surface(run, ended, make.BY, [inside])
    wait = PressureWait.objects.get()
    assert (wait.person, wait.starts_at, wait.ends_at) == (inside, make.NOON, ended + timedelta(hours=12))
    with pytest.raises(ValidationError, match="ended already"):
        reach_surface(run, ended, make.BY, [])


def test_a_run_cannot_end_before_it_left_surface() -> None:
    with pytest.raises(ValidationError, match="before it left surface"):
        reach_surface(start(plan_of(make.chamber())), make.NOON, make.BY)


def test_a_plan_out_of_force_starts_nothing() -> None:
    plan = plan_of(make.chamber())
    services.retire(plan, by=make.BY, reason="old")
    with pytest.raises(ValidationError, match="no longer in force"):
        start(plan)


def test_the_pages_start_and_end_a_run_that_is_not_ready_without_blocking_it() -> None:
    chamber = make.chamber()
    plan = plan_of(chamber)  # nobody is on duty: it cannot be ready
    sheet = services.add(
        CheckSheet(chamber=chamber, key="after", title="After the run", occasion="after_run"), by=make.BY
    )
    client = signed_in(make.user(chamber.site, "operator"))
    address = reverse("treatments:start_run", args=[chamber.site.key])
    assert "Table 5" in client.get(address).content.decode()
    now = events.now()
    typed = {
        "plan": plan.pk,
        "purpose": "treatment",
        "supervisor": "I. Tamaro",
        "at": (now - timedelta(minutes=3)).strftime("%Y-%m-%d %H:%MZ"),
    }
    refused = client.post(address, typed)
    assert refused.status_code == 422
    assert "Say why" in refused.content.decode()
    assert client.post(address, typed | {"at": "1 Jan 2199 10:00", "reason": "x"}).status_code == 422
    started = client.post(address, typed | {"reason": "diver cannot wait"})
    assert started.status_code == 302
    run = Run.objects.get()
    assert run.outside_house_rules
    assert "Table 5" in run.shown
    assert "on now" in client.get(started.headers["Location"]).content.decode()
    end = reverse("treatments:end_run", args=[chamber.site.key, run.pk])
    at = now.strftime("%Y-%m-%d %H:%MZ")
    assert client.post(end, {"at": at}).status_code == 422, "who was inside is not left open"
    assert client.post(end, {"at": at, "inside": [make.person().pk], "nobody": ""}).status_code == 422
    assert client.post(end, {"at": at, "inside": [make.person(chamber.site).pk]}).status_code == 302
    page = client.get(reverse("treatments:run", args=[chamber.site.key, run.pk])).content.decode()
    assert "outside the house rules" in page
    assert "<b>After the run</b>" in page, "the after-run check is owed"
    _sign(sheet)
    assert (
        "<b>After the run</b>"
        not in client.get(reverse("treatments:run", args=[chamber.site.key, run.pk])).content.decode()
    )


def _sign(sheet: CheckSheet) -> None:
    version = services.add(
        SheetVersion(
            sheet=sheet, version=1, steps=[{"key": "a", "text": "A"}], approved_by="x", in_force_from=make.NOON
        ),
        by=make.BY,
    )
    now = events.now()
    row = Check(
        sheet=sheet,
        version=version,
        number=1,
        started_at=now,
        started_by="x",
        state="signed",
        signed_at=now,
        signed_by="x",
        result="passed",
    )
    services.add(row, by=make.BY)


@pytest.mark.parametrize("name", ["start_run", "end_run"])
def test_only_who_may_run_starts_and_ends(name: str) -> None:
    chamber = make.chamber()
    run = start(plan_of(chamber))
    address = reverse(f"treatments:{name}", args=[chamber.site.key, *([run.pk] if name == "end_run" else [])])
    assert signed_in(make.user(chamber.site, "tender")).get(address).status_code == 403
    assert signed_in(make.user(make.site(), "operator")).get(address).status_code == 404
    assert reverse("accounts:login") in Client().get(address).headers["Location"]


def test_the_list_of_runs_takes_few_queries(django_assert_max_num_queries: Any) -> None:
    chamber = make.chamber()
    plan = plan_of(chamber)
    for number in range(5):
        run = start(plan, make.NOON + timedelta(hours=10 * number))
        reach_surface(run, make.NOON + timedelta(hours=10 * number + 4), make.BY)
    client = signed_in(make.user(chamber.site, "inspector"))
    with django_assert_max_num_queries(10):
        text = client.get(reverse("treatments:runs", args=[chamber.site.key])).content.decode()
    assert text.count("Table 5") == 5


def test_every_page_leads_to_the_run_that_is_on() -> None:
    chamber = make.chamber()
    site = chamber.site
    plan = plan_of(chamber)
    fields = {"chamber": chamber, "number": 7, "purpose": "test", "plan": plan, "supervisor": "Ina Test"}
    at = events.now()
    run = services.add(Run(**fields, started_at=at, planned_end_at=at + timedelta(hours=5)), by=make.BY)
    client = Client()
    client.force_login(make.user(site, "supervisor"))
    leads = f'href="{reverse("treatments:run", args=[site.key, run.pk])}"'
    for page in ("readiness:now", "walk:log", "places:plant"):
        assert leads in client.get(reverse(page, args=[site.key])).content.decode(), page


@pytest.mark.django_db
def test_the_list_of_runs_keeps_to_the_days_that_are_asked_for() -> None:
    """Oslo is one hour ahead of UTC in March 2026: 23:30 UTC on 11 March is 12 March at the site."""
    chamber = make.chamber()
    plan = plan_of(chamber)
    for number, at in enumerate((datetime(2026, 3, 11, 23, 30, tzinfo=UTC), datetime(2026, 3, 13, 12, tzinfo=UTC)), 1):
        services.add(
            Run(chamber=chamber, number=number, purpose="test", plan=plan, started_at=at, ended_at=at,
                supervisor="Ina Test"),
            by=make.BY,
        )  # fmt: skip
    client = Client()
    client.force_login(make.user(chamber.site, "inspector"), backend="django.contrib.auth.backends.ModelBackend")
    url = f"/{chamber.site.key}/runs/"
    shown = client.get(url, {"from": "2026-03-12", "to": "2026-03-12"}).context["runs"]
    assert [run.number for run in shown] == [1]
    assert len(client.get(url, {"from": "soon"}).context["runs"]) == 2
