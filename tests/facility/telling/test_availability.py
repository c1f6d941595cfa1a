"""The availability statement and the public status: what is told outside, and what is not."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.core.cache import cache
from django.test import Client
from django.urls import reverse

from facility import events, services
from facility.models import Chamber, Contact, HouseRule
from tests import make
from tests.facility.readiness_db import build
from tests.facility.telling.support import declared
from tests.treatments.after.pdf_text import pages_of
from treatments.models import Patient
from treatments.opening import patients

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


@pytest.fixture(autouse=True)
def chamber(monkeypatch: pytest.MonkeyPatch) -> Chamber:
    cache.clear()
    monkeypatch.setattr(events, "now", lambda: build.T)
    return build.worked_example()


def make_public(chamber: Chamber) -> None:
    row = HouseRule(
        site=chamber.site, key="public_status", value=1, approved_by="Ina Test", in_force_from=build.LONG_AGO
    )
    services.add(row, by=make.BY)


def paper(client: Client, chamber: Chamber) -> list[str]:
    client.force_login(make.supervisor(chamber.site))
    answer = client.get(reverse("readiness:statement", args=["skerrow"]))
    assert answer["Content-Type"] == "application/pdf"
    return pages_of(answer.content)


def test_the_statement_is_one_dated_page_that_says_call_first(client: Client, chamber: Chamber) -> None:
    services.add(
        Contact(site=chamber.site, key="coast", kind="emergency", name="Coast rescue", phone="+47 00 11 22 33"),
        by=make.BY,
    )
    (page,) = paper(client, chamber)
    text = " ".join(page.split())
    assert "As known on 27 Nov 2026 10:00 (UTC)" in text
    assert "Call first, do not drive." in text
    assert "27 Nov 2026 17:22" in text  # the worked example, by hand
    assert "Depth" in text or "depth" in text
    assert "+47 00 11 22 33" in text
    assert "local codes prevail" in text


def test_the_statement_names_neither_patients_nor_why_somebody_is_away(client: Client, chamber: Chamber) -> None:
    patients.add_patient(Patient(site=chamber.site, name="Quill Marrow"), by=make.BY)
    declared(chamber.site.people.get(key="bo"), build.T - HOUR, build.T + 9 * HOUR, fit=False)
    (page,) = paper(client, chamber)
    assert "Not ready" in page
    assert "Crew" in page
    assert "Marrow" not in page
    assert "Bo" not in page.split()


def test_twelve_tables_still_fit_on_one_page(client: Client, chamber: Chamber) -> None:
    for number in range(11):
        build.plan(chamber, f"more-{number}", *chamber.needs.all())
    assert len(paper(client, chamber)) == 1


@pytest.mark.parametrize("name", ["readiness:status", "readiness:status_json"])
def test_nothing_is_public_until_the_house_wants_it(name: str, chamber: Chamber) -> None:
    assert Client().get(reverse(name, args=["skerrow"])).status_code == 404
    assert Client().get(reverse(name, args=["nowhere"])).status_code == 404
    make_public(chamber)
    assert Client().get(reverse(name, args=["skerrow"])).status_code == 200


def test_the_public_line_is_dated_and_no_state_outlives_its_end(chamber: Chamber) -> None:
    make_public(chamber)
    answer = Client().get(reverse("readiness:status_json", args=["skerrow"]))
    found = answer.json()
    assert found["line"].startswith("As known on 27 Nov 2026 10:00: TT6 can start now. Call first, do not drive.")
    (table,) = found["tables"]
    assert (table["state"], table["as_known_at"]) == ("Ready", "2026-11-27T10:00Z")
    assert table["not_after"] == "2026-11-27T10:15Z"  # a quarter of an hour, unless the state ends before
    assert "no-store" in answer["Cache-Control"]


def test_a_state_that_ends_sooner_is_shown_no_longer(chamber: Chamber, monkeypatch: pytest.MonkeyPatch) -> None:
    make_public(chamber)
    soon = build.T + timedelta(hours=7, minutes=17)  # five minutes before 17:22
    monkeypatch.setattr(events, "now", lambda: soon)
    (table,) = Client().get(reverse("readiness:status_json", args=["skerrow"])).json()["tables"]
    assert table["not_after"] == "2026-11-27T17:22Z"


def test_the_public_page_names_nobody_of_the_crew(chamber: Chamber) -> None:
    make_public(chamber)
    declared(chamber.site.people.get(key="bo"), build.T - HOUR, build.T + 9 * HOUR, fit=False)
    for name in ("readiness:status", "readiness:status_json"):
        text = Client().get(reverse(name, args=["skerrow"])).content.decode()
        assert "Not ready" in text
        assert "Bo " not in text
        assert "Ana " not in text


def test_only_the_numbers_of_the_emergency_services_are_public(chamber: Chamber) -> None:
    make_public(chamber)
    for kind, phone in (("emergency", "+47 112"), ("physician", "+47 98 76 54 32")):
        services.add(Contact(site=chamber.site, key=kind, kind=kind, name=kind.title(), phone=phone), by=make.BY)
    for name in ("readiness:status", "readiness:status_json"):
        text = Client().get(reverse(name, args=["skerrow"])).content.decode()
        assert "+47 112" in text
        assert "98 76 54 32" not in text


def test_a_crowd_asking_costs_the_computation_once(
    chamber: Chamber, django_assert_max_num_queries: Callable[[int], Any]
) -> None:
    make_public(chamber)
    Client().get(reverse("readiness:status_json", args=["skerrow"]))
    with django_assert_max_num_queries(2):
        Client().get(reverse("readiness:status_json", args=["skerrow"]))
