"""Planned shut-downs: what they do to each table, by a calculation on paper, and who may plan one.

A run of the plan lasts its longest duration; one that would still be on when the shut-down begins cannot start, so the
last start lies that long before it (common practice, no source).
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.urls import reverse

from facility import events
from facility.models import Chamber, Event, ShutDown, SiteRole
from facility.readiness.gather import gather
from facility.readiness.services import evaluate_chamber
from facility.readiness.shut_downs import services as shutting
from facility.readiness.shut_downs.rows import SHUT_DOWN
from tests import make
from tests.visits.test_findings import client_of

pytestmark = pytest.mark.django_db


def shut(chamber: Chamber, start: datetime, hours: int, **fields: Any) -> ShutDown:
    """Return a stored shut-down."""
    row = ShutDown(
        chamber=chamber, starts_at=start, ends_at=start + timedelta(hours=hours), why="windows out", **fields
    )
    return shutting.plan(row, by=make.BY)


@pytest.fixture
def chamber(db: None) -> Chamber:
    """Return the chamber of a small facility taken in from its own files."""
    call_command("import_facility", "tests/data/own_facility", verbosity=0)
    return Chamber.objects.get()


def finding_of(chamber: Chamber, at: datetime) -> dict[str, Any]:
    """Return the finding of the first plan on shut-downs."""
    answer = evaluate_chamber(chamber, at)
    shape: Any = answer.plain(next(iter(answer.facts.plans)))
    found: dict[str, Any] = shape["findings"][SHUT_DOWN]
    return found


def test_without_a_shut_down_no_answer_carries_the_need(chamber: Chamber) -> None:
    assert SHUT_DOWN not in gather([chamber], events.now())[chamber].needs


@pytest.mark.parametrize(("minutes", "stops"), [(-1, True), (0, True), (1, False)])
def test_a_run_that_would_meet_the_shut_down_cannot_start(chamber: Chamber, minutes: int, *, stops: bool) -> None:
    """By hand: a run begun now ends after table and margin; both ends count, so a shut-down of that very minute stops it."""
    now = events.now().replace(second=0, microsecond=0)
    plan = next(iter(gather([chamber], now)[chamber].plans.values()))
    longest = plan.table_min + plan.margin_min + sum(one.minutes * one.allowed for one in plan.extensions)
    shut(chamber, now + timedelta(minutes=longest + minutes), 4)
    finding = finding_of(chamber, now)
    assert (finding["state"] == "stops") is stops, finding


def test_while_it_is_on_it_is_named_with_its_reason_and_end(chamber: Chamber) -> None:
    now = events.now()
    row = shut(chamber, now - timedelta(hours=1), 5)
    page = client_of(chamber.site, SiteRole.SUPERVISOR).get(reverse("readiness:now", args=[chamber.site.key]))
    assert "windows out" in page.content.decode()
    assert gather([chamber], row.ends_at + timedelta(minutes=1))[chamber].needs.get(SHUT_DOWN) is None


def test_taken_back_it_counts_no_longer_and_the_reason_is_kept(chamber: Chamber) -> None:
    row = shut(chamber, events.now() + timedelta(days=2), 5)
    with pytest.raises(ValidationError):
        shutting.take_back(row, by=make.BY, reason=" ")
    shutting.take_back(row, by=make.BY, reason="parts late")
    assert SHUT_DOWN not in gather([chamber], events.now())[chamber].needs
    assert Event.objects.latest("seq").reason == "parts late"


def test_two_shut_downs_of_a_chamber_do_not_lie_over_each_other() -> None:
    chamber = make.chamber()
    start = events.now() + timedelta(days=1)
    shut(chamber, start, 4)
    shut(chamber, start + timedelta(hours=4), 1)
    with pytest.raises(ValidationError, match="windows out"):
        shut(chamber, start + timedelta(hours=3), 4)


def test_one_that_is_over_already_is_refused() -> None:
    with pytest.raises(ValidationError, match="over already"):
        shut(make.chamber(), events.now() - timedelta(hours=5), 4)


def test_it_is_planned_on_its_page_and_shown_in_the_coming_days(chamber: Chamber) -> None:
    site = chamber.site
    client = client_of(site, SiteRole.MAINTAINER)
    page = reverse("readiness:shut_downs", args=[site.key])
    start = events.now() + timedelta(days=20)
    sent = {
        "chamber": chamber.pk,
        "starts_at": f"{start:%Y-%m-%d} 08:00",
        "ends_at": f"{start:%Y-%m-%d} 07:00",
        "why": "test",
    }
    assert client.post(page, sent).status_code == 422
    assert client.post(page, sent | {"ends_at": f"{start:%Y-%m-%d} 16:00"}).status_code == 302
    assert "test" in client.get(page).content.decode()
    assert client_of(site, SiteRole.TENDER).post(page, sent).status_code == 403
