"""A person without a role: an account that nobody gave one, and one of the crew who holds nothing."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse

from facility import events, services
from facility.models import DutyPeriod
from tests import make

pytestmark = pytest.mark.django_db


def test_an_account_without_a_role_is_told_whom_to_ask_and_finds_no_site() -> None:
    site = make.site()
    client = Client()
    client.force_login(make.user())
    home = client.get("/")
    assert home.status_code == 200
    assert "Ask the director" in home.content.decode()
    for page in ("readiness:now", "walk:log", "places:plant", "places:people", "places:records", "places:setup"):
        answer = client.get(reverse(page, args=[site.key]))
        assert answer.status_code == 404, page
        assert site.name not in answer.content.decode()


def test_somebody_on_duty_who_holds_nothing_is_listed_with_what_is_missing() -> None:
    site = make.site()
    make.chamber(site)
    person = make.person(site, name="Runa Holt")
    now = events.now()
    span = DutyPeriod(person=person, starts_at=now - timedelta(hours=1), ends_at=now + timedelta(hours=8))
    services.add(span, by=make.BY)
    client = Client()
    client.force_login(make.user(site, "inspector"))
    page = client.get(reverse("readiness:now", args=[site.key])).content.decode()
    assert "Runa Holt" in page
    assert "no qualification in date" in page
