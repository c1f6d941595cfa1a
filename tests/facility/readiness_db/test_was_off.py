"""One line on the Now page for a day after a power cut; and its links to what stands open."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import pytest
from django.test import Client
from django.urls import reverse

from facility import events
from facility.jobs import absence
from facility.models import Heartbeat
from tests import make
from tests.facility.readiness_db import build

if TYPE_CHECKING:
    from datetime import datetime

pytestmark = [pytest.mark.django_db, pytest.mark.both]
CUT = build.T - timedelta(hours=7)


@pytest.fixture
def client(monkeypatch: pytest.MonkeyPatch) -> Client:
    monkeypatch.setattr(events, "now", lambda: build.T)
    found = Client()
    found.force_login(make.supervisor(build.worked_example().site))
    return found


def back_after(cut: datetime, end: datetime, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the runner come back at ``end``, seen last at ``cut``."""
    Heartbeat.objects.update_or_create(name="jobs@box", defaults={"beat_at": cut, "started_at": cut})
    monkeypatch.setattr(events, "now", lambda: end)
    assert absence.note(now=end) is not None
    Heartbeat.objects.update(beat_at=end)


def shown(client: Client, at: datetime, monkeypatch: pytest.MonkeyPatch) -> str:
    monkeypatch.setattr(events, "now", lambda: at)
    Heartbeat.objects.update(beat_at=at)
    return client.get(reverse("readiness:now", args=["skerrow"])).content.decode()


def test_for_a_day_after_a_power_cut_now_says_from_when_to_when(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    end = build.T + timedelta(hours=2)
    back_after(CUT, end, monkeypatch)
    page = shown(client, end + timedelta(minutes=1), monkeypatch)
    assert "was off from" in page
    assert "no notices and no backups meanwhile" in page
    assert "was off from" in shown(client, end + timedelta(hours=23), monkeypatch)
    assert "was off from" not in shown(client, end + timedelta(hours=25), monkeypatch)


def test_a_box_that_was_never_off_says_nothing(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    assert "was off from" not in shown(client, build.T, monkeypatch)


def test_now_and_the_list_of_what_falls_due_lead_to_who_answers_for_it(client: Client) -> None:
    for name in ("readiness:now", "maintenance:due"):
        assert 'href="/skerrow/flags/"' in client.get(reverse(name, args=["skerrow"])).content.decode(), name
