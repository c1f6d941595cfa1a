"""A shipped table is unconfirmed until two different people compared it with their own printed handbook."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from facility.events import Actor
from facility.models import Event, Site
from tests import make
from tests.treatments.table_book.support import actor, director, signed_in
from treatments.models import TableConfirmation
from treatments.table_book.services import confirm
from treatments.table_book.tables import table_for

pytestmark = pytest.mark.django_db


@pytest.fixture
def site() -> Site:
    return make.site()


def compare(site: Site, by: Actor, key: str = "TT6") -> TableConfirmation:
    return confirm(site, key, "Diving manual, page 21-45", shown_digest=table_for(site, key).digest, by=by)


def test_two_different_people_confirm_a_table_for_their_site_only(site: Site) -> None:
    assert table_for(site, "TT6").standing == "unconfirmed"
    compare(site, actor(director(site)))
    assert table_for(site, "TT6").standing == "unconfirmed", "one person alone does not confirm"
    compare(site, actor(director(site, "Olav", "Dahl")))
    assert table_for(site, "TT6").standing == "confirmed"
    assert table_for(site, "TT5").standing == "unconfirmed", "another table stays as it was"
    assert table_for(make.site(), "TT6").standing == "unconfirmed", "another site has its own book"


def test_one_person_with_two_accounts_stays_one_person(site: Site) -> None:
    compare(site, actor(director(site, "Ina", "Berg")))
    with pytest.raises(ValidationError, match="Another person must compare it too"):
        compare(site, actor(director(site, "ina", "berg")))
    second = actor(director(site, "Olav", "Dahl"))
    compare(site, second)
    with pytest.raises(ValidationError, match="confirmed this table already"):
        compare(site, second)
    assert TableConfirmation.objects.count() == 2


def test_a_confirmation_is_bound_to_the_values_that_were_shown(site: Site) -> None:
    with pytest.raises(ValidationError, match="changed after they were shown"):
        confirm(site, "TT6", "book", shown_digest="0" * 64, by=actor(director(site)))
    row = compare(site, actor(director(site)))
    assert row.digest == table_for(site, "TT6").digest


def test_a_confirmation_taken_back_no_longer_counts_and_the_person_may_compare_again(site: Site) -> None:
    who = director(site)
    first = compare(site, actor(who))
    compare(site, actor(director(site, "Olav", "Dahl")))
    client = signed_in(who)
    address = reverse("treatments:take_back_comparison", args=[site.key, first.pk])
    assert client.post(address, {"reason": ""}).status_code == 422
    assert client.post(address, {"reason": "wrong edition"}).status_code == 302
    assert table_for(site, "TT6").standing == "unconfirmed"
    assert client.get(address).status_code == 404
    compare(site, actor(who))
    assert table_for(site, "TT6").standing == "confirmed"


def test_a_confirmation_is_an_event_with_handbook_and_digest(site: Site) -> None:
    row = compare(site, actor(director(site)))
    event = Event.objects.latest("seq")
    told = json.loads(event.payload)["after"]
    assert event.action == "table compared with the handbook"
    assert (told["handbook"], told["digest"], told["compared_by"]) == (
        "Diving manual, page 21-45",
        row.digest,
        "Ina Berg",
    )


def test_the_page_asks_book_password_and_says_so(site: Site) -> None:
    client = signed_in(director(site))
    address = reverse("treatments:confirm_table", args=[site.key, "TT6"])
    shown = client.get(address)
    text = shown.content.decode()
    assert "never advises a table" in text
    assert "from memory" in text
    typed: dict[str, Any] = {
        "handbook": "Diving manual, page 21-45",
        "compared": "on",
        "shown": shown.context["found"].digest,
    }
    wrong = client.post(address, typed | {"password": "wrong"})
    assert wrong.status_code == 422
    assert "Diving manual, page 21-45" in wrong.content.decode(), "nothing typed is lost"
    assert client.post(address, typed | {"password": make.PASSWORD, "compared": ""}).status_code == 422
    assert client.post(address, typed | {"password": make.PASSWORD}).status_code == 302
    again = client.post(address, typed | {"password": make.PASSWORD})
    assert (again.status_code, "confirmed this table already" in again.content.decode()) == (422, True)
    page = client.get(reverse("treatments:table", args=[site.key, "TT6"])).content.decode()
    assert "Ina Berg" in page
    assert "unconfirmed" in page
    assert "compared by 1 person" in client.get(reverse("treatments:tables", args=[site.key])).content.decode()


def test_the_page_of_a_table_tells_its_traps(site: Site) -> None:
    """Handbook, section 1.1: the step at 40 fsw of table 7, and the two forms of table 6A."""
    client = signed_in(make.user(site, "inspector"))

    def page(key: str) -> str:
        return client.get(reverse("treatments:table", args=[site.key, key])).content.decode()

    assert "34 h 40" in page("TT7")
    assert "319 min" in page("TT6A")
    assert "165 fsw is meant" in page("TT3")
    assert "185 min" in page("TT5")
    assert "18.38 msw" in page("TT6")
    assert "18.38 msw" not in page("OX-2.4")
    assert client.get(reverse("treatments:table", args=[site.key, "TT99"])).status_code == 404


def test_an_inspector_sees_but_does_not_confirm(site: Site) -> None:
    client = signed_in(make.user(site, "inspector"))
    assert client.get(reverse("treatments:confirm_table", args=[site.key, "TT6"])).status_code == 403
    assert client.get(reverse("treatments:confirm_table", args=["nowhere", "TT6"])).status_code == 404
