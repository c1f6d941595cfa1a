"""Addresses that nobody types: letters that no database keeps, numbers that no row has, days before the calendar."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from facility.models import Site, SiteRole
from tests import make

pytestmark = pytest.mark.django_db
BEYOND = 2**63
"""One more than the largest number of 64 bits with a sign: SQLite, "Datatypes In SQLite", section 2; PostgreSQL, bigint."""


@pytest.fixture
def site() -> Site:
    return make.site()


@pytest.fixture
def desk(site: Site) -> Client:
    client = Client()
    client.force_login(make.user(site, SiteRole.DIRECTOR), backend="django.contrib.auth.backends.ModelBackend")
    return client


@pytest.mark.parametrize(
    ("name", "parts"),
    [("walk:blank", [BEYOND, 1]), ("maintenance:bank", [BEYOND]), ("treatments:correct_entry", [BEYOND, 1]),
     ("treatments:table", ["a\0b"])],
)  # fmt: skip
def test_a_number_or_letter_that_nothing_has_is_a_page_that_does_not_exist(
    site: Site, desk: Client, name: str, parts: list[int | str]
) -> None:
    assert desk.get(reverse(name, args=[site.key, *parts])).status_code == 404


@pytest.mark.parametrize(
    ("name", "asked"),
    [("maintenance:defects", {"equipment": str(BEYOND)}), ("maintenance:labels", {"item": str(BEYOND)}),
     ("maintenance:labels", {"item": "9" * 4400}), ("maintenance:work_list", {"equipment": str(BEYOND)}),
     ("places:events", {"before": "9" * 4400}), ("places:events", {"subject": "a\0"}), ("readiness:now", {"\0": "a"})],
)  # fmt: skip
def test_a_question_in_an_address_that_nothing_can_answer_is_refused(
    site: Site, desk: Client, name: str, asked: dict[str, str]
) -> None:
    assert desk.get(reverse(name, args=[site.key]), asked).status_code == 404


def test_figures_to_look_for_may_be_long(site: Site, desk: Client) -> None:
    for name in ("maintenance:defects", "maintenance:work_list"):
        assert desk.get(reverse(name, args=[site.key]), {"q": "9" * 60}).status_code == 200
    assert desk.get(reverse("records:list", args=[site.key, "bank"]), {"q": "9" * 60}).status_code == 200


@pytest.mark.parametrize("day", ["0001-01-01", "9999-12-31"])
@pytest.mark.parametrize("end", ["from", "to"])
def test_a_day_that_no_zone_can_place_is_no_day_for_a_list_of_runs(
    site: Site, desk: Client, end: str, day: str
) -> None:
    """The proleptic calendar of years with four figures (ISO 8601) begins and ends with these days."""
    assert desk.get(reverse("treatments:runs", args=[site.key]), {end: day}).status_code == 200


@pytest.mark.parametrize(
    ("sort", "body"),
    [("application/x-www-form-urlencoded; charset=utf-7", b"a=b"), ("multipart/form-data", b"\xff"),
     ("application/x-www-form-urlencoded", b"&".join(b"f%d=x" % n for n in range(5000)))],
)  # fmt: skip
def test_a_form_that_cannot_be_read_is_said_to_be_none(sort: str, body: bytes) -> None:
    """RFC 9110 section 15.5.1: a request that cannot be understood is answered with 400."""
    client = Client(enforce_csrf_checks=True, raise_request_exception=False)
    client.get(reverse("accounts:login"))
    answer = client.post(reverse("accounts:login"), body, content_type=sort)
    assert answer.status_code == 400
    assert "Load the page again" in answer.text
