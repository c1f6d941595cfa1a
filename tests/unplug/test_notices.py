"""The line out is taken away: notices wait and somebody is told; when it is back each goes out once."""

from __future__ import annotations

import json
import subprocess
import sys
from contextlib import ExitStack
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import pytest
from django.urls import reverse

from facility import events
from facility.jobs.loop import Loop
from facility.models import Delivery, Event, Job, NoticeWay
from facility.notices import sending, ways
from facility.notices.deliver import queue
from tests import make
from tests.facility.events import store
from tests.notices.sending import kit, servers
from tests.unplug.box import nothing_wrong
from tests.unplug.servers import wait

if TYPE_CHECKING:
    from collections.abc import Iterator

    from tests.unplug.box import Box

START = datetime.now(UTC).replace(microsecond=0) + timedelta(hours=6)


class Line:
    """A mail server and a web server somewhere else, and the line to them."""

    def __init__(self) -> None:
        self.mail, self.web = servers.MailServer(), servers.WebServer()
        self._held = ExitStack()
        self.plug_in()

    def plug_in(self) -> None:
        self._held.enter_context(servers.mail_server(self.mail))
        self._held.enter_context(servers.web_server(self.web))

    def unplug(self) -> None:
        self._held.close()


@pytest.fixture
def line(settings: Any) -> Iterator[Line]:
    found = Line()
    settings.EMAIL_BACKEND = "facility.notices.mail_backend.Backend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", found.mail.port
    settings.EMAIL_USE_TLS = settings.EMAIL_USE_SSL = False
    settings.NOTICE_LOCAL_ALLOWED = ["127.0.0.1"]
    yield found
    found.unplug()


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> kit.Clock:
    found = kit.Clock(START)
    monkeypatch.setattr(events, "now", found)
    return found


def tell(box: Box, line: Line, clock: kit.Clock) -> list[NoticeWay]:
    """Let two ways of the site wait for one notice each."""
    site = box.site()
    rows = [
        NoticeWay(site=site, way="email", address="watch@example.org"),
        NoticeWay(site=site, way="webhook", address=line.web.at("/hook")),
    ]
    made = [ways.add(row, by=make.BY) for row in rows]
    queue([kit.notice(site, made_at=clock.now)], now=clock.now)
    return made


def work(clock: kit.Clock) -> None:
    """Let the box's own runner do what is due."""
    loop = Loop([], clock=clock)
    while loop.turn():
        pass


def test_without_a_line_notices_wait_pages_are_right_and_the_monitor_tells_then_each_goes_out_once(
    box: Box, line: Line, clock: kit.Clock
) -> None:
    line.unplug()
    tell(box, line, clock)
    work(clock)
    assert box.now_page()[0] == 200
    assert box.enter_reading()[0] == 302
    log = box.page(reverse("notices:way_log", args=[box.site().key]))[1]
    assert "The mail server cannot be reached." in log
    assert "The far side refuses the connection." in log
    assert box.ready()[1]["notices"] == {"ok": True, "unsent": 2, "oldest_unsent_s": 0.0}
    clock.pass_by(hours=7)
    work(clock)
    part = box.ready()[1]["notices"]
    assert (part["ok"], part["unsent"]) == (False, 2)
    assert part["oldest_unsent_s"] == pytest.approx(7 * 3600)
    line.plug_in()
    clock.pass_by(minutes=15)
    work(clock)
    assert (len(line.mail.letters), len(line.web.sent)) == (1, 1)
    assert box.ready()[1]["notices"]["unsent"] == 0
    clock.pass_by(days=1)
    work(clock)
    assert (len(line.mail.letters), len(line.web.sent)) == (1, 1)
    assert not Job.objects.filter(kind="send_notices", finished_at=None).exists()
    assert nothing_wrong()


def test_a_line_that_stays_away_for_three_days_is_an_event_and_no_storm_follows(
    box: Box, line: Line, clock: kit.Clock
) -> None:
    line.unplug()
    tell(box, line, clock)
    for _hour in range(73):
        work(clock)
        clock.pass_by(hours=1)
    given_up = Event.objects.filter(action="notice given up")
    assert [json.loads(one.payload)["after"]["why"] for one in given_up] == ["It could not be sent for 3 days."] * 2
    assert not any("127.0.0.1" in one.payload or "watch@" in one.payload for one in given_up)
    line.plug_in()
    work(clock)
    assert (line.mail.letters, line.web.sent) == ([], [])
    log = box.page(reverse("notices:way_log", args=[box.site().key]))[1]
    assert log.count("not sent") == 2


@pytest.mark.service
def test_a_sender_killed_in_the_middle_loses_nothing_and_a_second_copy_has_the_same_name(
    box: Box, line: Line, clock: kit.Clock
) -> None:
    """SIGKILL while the far side has the message and has not answered: nobody can know whether it took it."""
    site = box.site()
    ways.add(NoticeWay(site=site, way="webhook", address=line.web.at("/hook")), by=make.BY)
    clock.now = datetime.now(UTC)  # the process has the real clock
    queue([kit.notice(site, made_at=clock.now)], now=clock.now)
    line.web.may_answer.clear()
    command = [sys.executable, "-m", "django", "run_job", "send_notices"]
    environment = box.made.environment() | {"DEEPSTEAD_NOTICE_LOCAL_ALLOWED": "127.0.0.1"}
    process = subprocess.Popen(
        command, cwd=store.ROOT, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        wait("the message", lambda: line.web.sent)
    finally:
        process.kill()
        process.wait(timeout=10)
    line.web.may_answer.set()
    clock.now = datetime.now(UTC)
    sending.run(str)
    row = Delivery.objects.get()
    assert (len(line.web.sent), row.sent_at, row.lease_until is not None) == (1, None, True)
    clock.now += sending.LEASE
    sending.run(str)
    names = [one.headers["idempotency-key"] for one in line.web.sent]
    assert len(names) == 2
    assert len(set(names)) == 1
    assert len({one.body for one in line.web.sent}) == 1
    row.refresh_from_db()
    assert (row.sent_at, row.tries) == (clock.now, 2)
    assert nothing_wrong()
