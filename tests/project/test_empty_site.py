"""A site of which nothing is recorded yet: every page opens, says what it is for, and leads on."""

from __future__ import annotations

import html
import re

import pytest
from django.test import Client
from django.urls import get_resolver, reverse

from facility.models import Site, SiteRole
from facility.records.kinds import KINDS
from facility.records.purposes import PURPOSES
from tests import make
from tests.project.test_access import addresses

pytestmark = pytest.mark.django_db
#: a page for a form alone answers 405, one of another part leads on
FINE = {200, 302, 405}
#: what asks for a thing or a plan, or is shut until the house rule opens it
ASKS_MORE = {"notices:snooze", "readiness:forecast_json", "readiness:status", "readiness:status_json"}


@pytest.fixture
def site() -> Site:
    return make.site()


@pytest.fixture
def client_in(site: Site) -> Client:
    client = Client()
    client.force_login(make.user(site, SiteRole.DIRECTOR), backend="django.contrib.auth.backends.ModelBackend")
    return client


def words(client: Client, address: str) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", client.get(address).content.decode())).split())


def test_every_page_that_asks_for_the_site_alone_opens_where_nothing_is_recorded(site: Site, client_in: Client) -> None:
    asked = [
        name
        for name, pattern in addresses(get_resolver())
        if re.findall(r"<", pattern) == ["<"] and "<slug:site>" in pattern
    ]
    assert len(asked) > 50
    told = {name: client_in.get(reverse(name, args=[site.key])).status_code for name in asked}
    kinds = {
        kind.slug: client_in.get(reverse("records:list", args=[site.key, kind.slug])).status_code for kind in KINDS
    }
    assert {
        name: status for name, status in (told | kinds).items() if status not in FINE and name not in ASKS_MORE
    } == {}


def test_what_is_not_recorded_is_never_told_as_none_that_needs_someone(site: Site, client_in: Client) -> None:
    for name, said in (("plant", "Plant: nothing is recorded yet"), ("people", "People: nobody is recorded yet")):
        page = words(client_in, reverse(f"places:{name}", args=[site.key]))
        assert said in page
        assert " 0 " not in page[page.index(said) : page.index(said) + 200]
    for name in ("readiness:crew_hours", "readiness:what_if", "readiness:grant_waiver"):
        page = words(client_in, reverse(name, args=[site.key]))
        assert "No chamber is recorded yet" in page
        assert "What is still to be recorded" in page


def test_an_empty_list_says_what_the_records_are_for_and_a_form_without_choices_what_comes_first(
    site: Site, client_in: Client
) -> None:
    page = words(client_in, reverse("records:list", args=[site.key, "analysis"]))
    assert "Without it the cylinder counts for nothing." in page
    form = words(client_in, reverse("records:add", args=[site.key, "reading"]))
    assert "There is nothing to choose yet for: Bank. It must be recorded first." in form
    assert "There is nothing to choose yet for: Plan." in words(
        client_in, reverse("treatments:start_run", args=[site.key])
    )
    defect = words(client_in, reverse("maintenance:raise_defect", args=[site.key]))
    assert "There is nothing to choose yet for: Item of equipment, or gas bank" in defect
    make.bank(site)
    assert "nothing to choose yet" not in words(client_in, reverse("records:add", args=[site.key, "reading"]))
    assert "nothing to choose yet" not in words(client_in, reverse("maintenance:raise_defect", args=[site.key]))


def test_every_kind_of_record_says_what_it_is_for() -> None:
    assert {kind.slug for kind in KINDS} == set(PURPOSES)
