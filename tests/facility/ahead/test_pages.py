"""The pages Ahead and What if: they say what the function says, and store nothing."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.core.management import call_command
from django.test import Client

from facility.models import Event, Site, SiteRole
from facility.readiness.services import evaluate_chamber
from tests import make

pytestmark = pytest.mark.django_db
OWN = Path(__file__).parent.parent.parent / "data" / "own_facility"
BACKEND = "django.contrib.auth.backends.ModelBackend"


@pytest.fixture
def site() -> Site:
    call_command("import_facility", str(OWN), verbosity=0)
    return Site.objects.get()


@pytest.fixture
def client_in(site: Site) -> Client:
    client = Client()
    client.force_login(make.user(site, SiteRole.INSPECTOR), backend=BACKEND)
    return client


def test_the_page_names_each_plan_and_what_is_assumed(site: Site, client_in: Client) -> None:
    text = client_in.get(f"/{site.key}/ahead/").content.decode()
    chamber = site.chambers.get()
    for plan in chamber.plans.filter(retired_at=None):
        assert plan.name in text
    assert "assumed done" in text
    assert "supervisor and the physician decide" in text


def test_an_unknown_chamber_is_not_found(site: Site, client_in: Client) -> None:
    assert client_in.get(f"/{site.key}/ahead/nowhere/").status_code == 404
    assert client_in.get(f"/{site.key}/what-if/nowhere/").status_code == 404


def test_a_site_without_a_chamber_says_so(client_in: Client) -> None:
    bare = make.site()
    client = Client()
    client.force_login(make.user(bare, SiteRole.DIRECTOR), backend=BACKEND)
    assert "No plan is in force" in client.get(f"/{bare.key}/ahead/").content.decode()


def test_nothing_chosen_changes_nothing(site: Site, client_in: Client) -> None:
    answer = client_in.get(f"/{site.key}/what-if/?ask=1")
    assert answer.status_code == 200
    assert [row.differs for row in answer.context["compared"]] == [False] * len(answer.context["compared"])


def test_without_everybody_the_crew_is_in_the_way_and_nothing_is_stored(site: Site, client_in: Client) -> None:
    people = [person.key for person in site.people.all()]
    before = Event.objects.count()
    answer = client_in.get(f"/{site.key}/what-if/", {"ask": "1", "without": people})
    with_roles = [row for row in answer.context["compared"] if "Crew" in row.after.in_the_way]
    assert with_roles
    assert Event.objects.count() == before


def test_every_item_out_of_service_leaves_no_plan_ready(site: Site, client_in: Client) -> None:
    facts = evaluate_chamber(site.chambers.get(), make.NOON).facts
    items = [name for name in facts.members if name.startswith("equipment:")]
    answer = client_in.get(f"/{site.key}/what-if/", {"ask": "1", "out": items})
    assert {row.after.state for row in answer.context["compared"]} == {"Not ready"}


def test_half_a_question_is_refused_with_what_is_missing(site: Site, client_in: Client) -> None:
    facts = evaluate_chamber(site.chambers.get(), make.NOON).facts
    plan = next(iter(facts.plans))
    answer = client_in.get(f"/{site.key}/what-if/", {"ask": "1", "after": plan})
    assert answer.status_code == 422
    assert "would leave surface" in answer.content.decode()


def test_a_name_that_is_not_offered_is_refused(site: Site, client_in: Client) -> None:
    assert client_in.get(f"/{site.key}/what-if/", {"ask": "1", "without": "nobody-here"}).status_code == 422
