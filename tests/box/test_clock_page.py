"""Saying that the clock, which was ahead, is right again: who, why, told on pages and in packs, and never too much."""

from __future__ import annotations

import html
import json
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.db import transaction
from django.test import Client

from facility import events, record_check
from facility.models import Event, Site, SiteRole
from facility.pack import log
from facility.pack.scope import Scope
from facility.readiness import clock_said
from facility.sweep import looking
from facility.trust import clock
from tests import make

pytestmark = pytest.mark.django_db
NOW = datetime.now(UTC).replace(microsecond=0) + timedelta(hours=6)
AHEAD = NOW + timedelta(days=3)
DISTRUSTED = "The clock is not trusted: the newest record is of"


def plain(answer: Any) -> str:
    """Return a page as a person reads it, on one line."""
    return " ".join(html.unescape(answer.content.decode()).split())


class Time:
    """What the server's clock shows."""

    now = NOW


@pytest.fixture
def time(monkeypatch: pytest.MonkeyPatch) -> type[Time]:
    monkeypatch.setattr(Time, "now", NOW)
    monkeypatch.setattr(events, "now", lambda: Time.now)
    return Time


@pytest.fixture
def site(time: type[Time]) -> Site:
    """A site whose box recorded something while its clock was three days ahead, and is right again."""
    made = make.site()
    time.now = AHEAD
    note("ahead")
    time.now = NOW
    return made


def note(text: str) -> None:
    with transaction.atomic():
        events.record(None, events.What("test", after={"text": text}), by=events.system("test"))


def signed_in(site: Site, role: str) -> Client:
    client = Client()
    client.force_login(make.user(site, role), "django.contrib.auth.backends.ModelBackend")
    return client


def typed(site: Site, at: datetime, **more: str) -> dict[str, str]:
    return {
        "now": at.astimezone(ZoneInfo(site.zone)).strftime("%d %b %Y %H:%M"), "reason": "time server was off", "password": make.PASSWORD,
    } | more  # fmt: skip


def test_a_director_says_so_and_days_are_reckoned_at_once(site: Site) -> None:
    with pytest.raises(looking.ClockError):
        looking.sweep(NOW)
    answer = signed_in(site, SiteRole.DIRECTOR).post(f"/{site.key}/clock/", typed(site, NOW))
    assert answer.status_code == 302, plain(answer)
    assert looking.sweep(NOW).startswith("flags ")
    event = Event.objects.filter(action=events.CLOCK_RIGHT).get()
    told = json.loads(event.payload)
    assert (event.reason, told["role"]) == ("time server was off", "director")
    assert told["after"]["ahead_until"] == AHEAD.isoformat(timespec="seconds")


def test_each_page_says_so_until_the_times_ahead_have_come(site: Site, time: type[Time]) -> None:
    client = signed_in(site, SiteRole.DIRECTOR)
    assert DISTRUSTED in plain(client.get(f"/{site.key}/set-up/"))
    client.post(f"/{site.key}/clock/", typed(site, NOW))
    for after, told in ((timedelta(minutes=1), True), (timedelta(days=2), True), (timedelta(days=3, minutes=1), False)):
        time.now = NOW + after
        page = plain(client.get(f"/{site.key}/set-up/"))
        assert DISTRUSTED not in page
        assert ("said that the clock is right again" in page) == told
        assert ("time server was off" in page) == told


def test_an_hour_ahead_is_told_for_a_day(site: Site) -> None:
    cell = [json.dumps({
        "recorded_at": NOW.isoformat(), "actor": "A", "reason": "b", "after": {"ahead_until": (NOW + timedelta(hours=1)).isoformat()},
    })]  # fmt: skip
    assert clock_said.line_of(cell, NOW + timedelta(hours=23), "UTC")
    assert not clock_said.line_of(cell, NOW + timedelta(hours=25), "UTC")


def test_a_clock_set_back_once_more_is_distrusted_again(site: Site, time: type[Time]) -> None:
    clock.right_again("time server was off", NOW, at=NOW, by=make.BY)
    note("right")
    time.now = NOW - timedelta(hours=2)
    note("back")
    with pytest.raises(looking.ClockError):
        looking.sweep(time.now)


def test_what_was_recorded_meanwhile_keeps_its_time_and_mark(site: Site) -> None:
    note("after it was set back")
    before = list(Event.objects.order_by("seq").values_list("recorded_at", "clock_suspect"))
    clock.right_again("time server was off", NOW, at=NOW, by=make.BY)
    assert list(Event.objects.order_by("seq").values_list("recorded_at", "clock_suspect"))[: len(before)] == before
    assert record_check.verify().ok


def test_another_time_than_the_boxs_a_blank_reason_and_a_wrong_password_are_refused(site: Site) -> None:
    client = signed_in(site, SiteRole.DIRECTOR)
    sent = [
        (typed(site, AHEAD), "Set the clock of the box first."),
        (typed(site, NOW, reason=" "), "This field is required."),
        (typed(site, NOW, password="wrong"), "This is not the password"),
    ]
    for given, said in sent:
        answer = client.post(f"/{site.key}/clock/", given)
        assert answer.status_code == 422
        assert said in plain(answer)
        assert given["now"] in plain(answer)
    assert not Event.objects.filter(action=events.CLOCK_RIGHT).exists()


def test_while_the_clock_is_trusted_there_is_nothing_to_say(time: type[Time]) -> None:
    site = make.site()
    client = signed_in(site, SiteRole.DIRECTOR)
    assert "There is nothing to say here." in plain(client.get(f"/{site.key}/clock/"))
    answer = client.post(f"/{site.key}/clock/", typed(site, NOW))
    assert answer.status_code == 422
    assert not Event.objects.filter(action=events.CLOCK_RIGHT).exists()


def test_the_pack_of_a_whole_site_tells_it_in_full_and_the_log_page_too(site: Site, tmp_path: Any) -> None:
    clock.right_again("time server was off", NOW, at=NOW, by=make.BY)
    event = Event.objects.get(action=events.CLOCK_RIGHT)
    day = NOW.date()
    scope = Scope(site, None, day - timedelta(days=1), day + timedelta(days=1))
    log.write_events(tmp_path / "events.jsonl", scope, "default", event.seq)
    told = [json.loads(line) for line in (tmp_path / "events.jsonl").read_text("utf-8").splitlines()]
    assert [one["payload"] for one in told if one["seq"] == event.seq] == [event.payload]
    page = plain(signed_in(site, SiteRole.DIRECTOR).get(f"/{site.key}/records/events/"))
    assert "records trusted again, the clock is right" in page
