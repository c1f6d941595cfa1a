"""Minimum and emergency crew side by side on Why, on the crew hours and on a call-out."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest
from django.core.management import call_command
from django.test import Client
from django.urls import reverse

from facility import events
from facility.models import DutyPeriod, Site, SiteRole
from facility.readiness.emergency import crew_sum
from facility.readiness.services import chambers_of, evaluate_chamber
from tests import make
from treatments.models import CallOut, Plan

OWN = Path(__file__).parent.parent.parent / "data" / "own_facility"
TITLE = "Minimum and emergency crew"

pytestmark = pytest.mark.django_db


@pytest.fixture
def site() -> Site:
    call_command("import_facility", str(OWN), verbosity=0)
    return Site.objects.get()


def with_emergency(site: Site) -> Plan:
    """Put the panel operator down as the emergency crew of the only plan."""
    plan = Plan.objects.get(chamber__site=site)
    plan.emergency_roles = [one for one in plan.roles if one["role"] == "panel operator"]
    Plan.objects.filter(pk=plan.pk).update(emergency_roles=plan.emergency_roles)
    return plan


def signed_in(site: Site, role: SiteRole) -> Client:
    client = Client()
    client.force_login(make.user(site, role), backend="django.contrib.auth.backends.ModelBackend")
    return client


def test_where_no_emergency_crew_is_written_down_nothing_is_shown(site: Site) -> None:
    answer = evaluate_chamber(chambers_of(site)[0], events.now())
    assert crew_sum(answer, "table-5") is None


def test_why_and_crew_hours_show_both_crews_and_the_state_is_not_touched(site: Site) -> None:
    now = events.now()
    before = evaluate_chamber(chambers_of(site)[0], now).evaluations["table-5"]
    plan = with_emergency(site)
    assert evaluate_chamber(chambers_of(site)[0], now).evaluations["table-5"] == before
    client = signed_in(site, SiteRole.TENDER)
    why = client.get(reverse("readiness:why", args=[site.key, plan.chamber.key, plan.key])).content.decode()
    assert TITLE in why
    hours = client.get(reverse("readiness:crew_hours", args=[site.key]))
    (line,) = hours.context["lines"]
    assert line.emergency_hours is not None
    assert line.emergency_hours >= line.hours
    assert "with the emergency crew" in hours.content.decode()


def test_a_call_out_says_that_neither_crew_is_there_when_nobody_is_on_duty(site: Site) -> None:
    plan = with_emergency(site)
    DutyPeriod.objects.update(ends_at=events.now(), starts_at=events.now() - timedelta(days=3))
    client = signed_in(site, SiteRole.SUPERVISOR)
    client.post(reverse("readiness:begin_call", args=[site.key]), {"chamber": plan.chamber.key})
    page = client.get(reverse("readiness:call", args=[site.key, CallOut.objects.get().pk])).content.decode()
    assert TITLE in page
    assert "0 of 1 place filled" in page
    assert "for a start before" not in page.split(TITLE)[1].split("</section>")[0]
