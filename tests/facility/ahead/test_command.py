"""Forecast and what-if of a site's own records at the command line."""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from facility.models import Event, Site

pytestmark = pytest.mark.django_db
OWN = Path(__file__).parent.parent.parent / "data" / "own_facility"
AT = "2026-02-27T10:00Z"


@pytest.fixture
def site() -> Site:
    call_command("import_facility", str(OWN), verbosity=0)
    return Site.objects.get()


def told(*words: str) -> Any:
    out = io.StringIO()
    call_command("readiness", *words, "--at", AT, "--json", stdout=out, stderr=io.StringIO())
    return json.loads(out.getvalue())


def plan_of(site: Site) -> str:
    return str(site.chambers.get().plans.filter(retired_at=None)[0].key)


def test_the_forecast_begins_with_the_state_now(site: Site) -> None:
    plan = plan_of(site)
    now = told(site.key)["plans"][0]["state"]
    steps = told(site.key, "--forecast", plan)
    assert steps[0] == [AT, now]


def test_without_a_person_and_out_of_service_before_and_after_stand_side_by_side(site: Site) -> None:
    plan, person = plan_of(site), site.people.all()[0].key
    tag = site.equipment.filter(needed_by__isnull=False)[0].tag
    before = Event.objects.count()
    compared = told(site.key, "--plan", plan, "--without", person, "--out", tag)
    assert set(compared) == {"before", "after"}
    assert compared["before"]["state"] == told(site.key)["plans"][0]["state"]
    assert Event.objects.count() == before


def test_after_a_run_every_plan_is_compared(site: Site) -> None:
    plan = plan_of(site)
    compared = told(site.key, "--after-run", plan, "--inside", site.people.all()[0].key)
    assert set(compared) == {one["plan_key"] for one in told(site.key)["plans"]}


def test_names_that_are_not_there_are_named(site: Site) -> None:
    for words in (["--forecast", "tt99"], ["--without", "nobody"], ["--out", "ZZ-9"], ["--after-run", "tt99"]):
        with pytest.raises(CommandError, match="tt99|nobody|ZZ-9") as caught:
            told(site.key, *words)
        assert caught.value.returncode == 2
