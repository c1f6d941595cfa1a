"""Crew hours: agree with the forecast's own crew finding, and a swap tells what it loses."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.test import Client
from hypothesis import given

from facility.compute.coverage import coverage, crewed_min, swapped
from facility.compute.facts import Span
from facility.compute.facts_json import facility_of
from facility.compute.instants import FactsError, parse_instant
from facility.compute.readiness import evaluate
from facility.models import Site, SiteRole
from tests import make
from tests.make_facts import worked_example
from tests.strategies import facts

OWN = Path(__file__).parent.parent.parent / "data" / "own_facility"
AT = parse_instant("2026-11-27T10:00Z")
LEVELS = {"holds": 0, "limits": 1, "not known": 2, "stops": 3}


@given(facts())
def test_the_first_stretch_is_what_readiness_says_of_the_crew_now(asked: tuple[dict[str, Any], str]) -> None:
    facility, at = facility_of(asked[0]), parse_instant(asked[1])
    now = evaluate(facility, at)
    for plan, stretches in coverage(facility, at, 3).items():
        assert stretches[0].level == LEVELS[now[plan].findings["crew"].state]
        assert stretches[0].begin == at
        assert sum(one.until - one.begin for one in stretches) == 3 * 24 * 60


def test_the_worked_example_is_crewed_until_8_h_38_before_the_end_of_duty() -> None:
    """readiness: duty until 28 Nov 08:00, D 518 min: a start is crewed before 27 Nov 23:22."""
    facility = facility_of(worked_example())
    stretches = coverage(facility, AT, 1)["TT6"]
    assert stretches[0].crewed
    assert stretches[0].until == parse_instant("2026-11-27T23:22Z")


def test_a_swap_to_somebody_who_may_not_do_it_loses_hours_and_back_again_restores_them() -> None:
    facility = facility_of(worked_example())
    span = Span(parse_instant("2026-11-27T00:00Z"), parse_instant("2026-11-28T08:00Z"))
    before = crewed_min(coverage(facility, AT, 1)["TT6"])
    gone = swapped(facility, span, "Ana", "Bo")
    assert crewed_min(coverage(gone, AT, 1)["TT6"]) < before
    assert crewed_min(coverage(swapped(gone, span, "Bo", "Ana"), AT, 1)["TT6"]) <= before


def test_a_swap_with_nobody_known_is_named() -> None:
    with pytest.raises(FactsError, match="Nemo"):
        swapped(facility_of(worked_example()), Span(AT, AT + 60), "Ana", "Nemo")


@pytest.mark.django_db
def test_the_page_shows_hours_and_what_a_swap_loses() -> None:
    call_command("import_facility", str(OWN), verbosity=0)
    site = Site.objects.get()
    client = Client()
    client.force_login(make.user(site, SiteRole.TENDER), backend="django.contrib.auth.backends.ModelBackend")
    page = client.get(f"/{site.key}/crew-hours/")
    assert page.status_code == 200
    assert all(line.after_hours is None for line in page.context["lines"])
    assert client.get(f"/{site.key}/crew-hours/", {"duty": "0", "taker": "0"}).status_code == 422
