"""From an empty site to its first answer: each step is offered, and no step is called done before it is."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from facility.records.first_steps import first_steps
from tests import make

pytestmark = pytest.mark.django_db


def test_an_empty_site_is_led_from_the_chamber_to_the_plan() -> None:
    site = make.site()
    steps = first_steps(site)
    assert not any(step.done for step in steps)
    assert steps[0].url == reverse("records:add", args=[site.key, "chamber"])
    assert steps[-1].url == reverse("treatments:plans", args=[site.key])


def test_what_is_recorded_elsewhere_does_not_count_and_what_is_retired_neither() -> None:
    site = make.site()
    make.lock(make.chamber())
    assert not any(step.done for step in first_steps(site))
    make.chamber(site)
    done = [step.url for step in first_steps(site) if step.done]
    assert done == [reverse("records:list", args=[site.key, "chamber"])]


def test_every_step_opens_for_the_director_and_now_leads_to_them() -> None:
    site = make.site()
    client = Client()
    client.force_login(make.user(site, "director"))
    for step in first_steps(site):
        assert client.get(step.url).status_code == 200, step.url
    assert (
        reverse("places:setup", args=[site.key])
        in client.get(reverse("readiness:now", args=[site.key])).content.decode()
    )
    assert "Up to the first answer" in client.get(reverse("places:setup", args=[site.key])).content.decode()
