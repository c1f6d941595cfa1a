"""After a power cut: from when to when the box was off is an event, once; and nothing that went by comes in a storm."""

from __future__ import annotations

import json
import threading
from datetime import UTC, datetime, time, timedelta
from typing import TYPE_CHECKING, Any
from unittest.mock import Mock

import pytest
from django.db import InterfaceError, OperationalError, connection
from django.test import Client
from django.urls import reverse

from facility import events
from facility.jobs import absence
from facility.jobs.loop import Loop
from facility.jobs.queue import Daily, Every, Kind, enqueue_daily
from facility.models import Event, Heartbeat, Job, User
from facility.project.schedule import DAILY
from tests import make

if TYPE_CHECKING:
    from facility.models import Site

pytestmark = [pytest.mark.django_db, pytest.mark.both]
CUT = datetime(2030, 5, 4, 1, 0, tzinfo=UTC)
BACK = datetime(2030, 5, 4, 7, 30, tzinfo=UTC)


class Clocks:
    """The settable clock and the steady one, as a test sets them."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.now, self.steady_s = BACK, 5.0
        monkeypatch.setattr(events, "now", lambda: self.now)
        monkeypatch.setattr(events, "steady_seconds", lambda: self.steady_s)

    def pass_by(self, span: timedelta) -> None:
        self.now += span
        self.steady_s += span.total_seconds()


@pytest.fixture
def clocks(monkeypatch: pytest.MonkeyPatch) -> Clocks:
    return Clocks(monkeypatch)


def last_seen(beat_at: datetime, host: str = "box") -> None:
    Heartbeat.objects.create(name=f"jobs@{host}", beat_at=beat_at, started_at=beat_at)


def started(clocks: Clocks, plan: Any = ()) -> Loop:
    loop = Loop(plan, clock=lambda: clocks.now)
    loop.keep()
    return loop


def told() -> list[dict[str, str]]:
    rows = Event.objects.filter(action="box:was-off").order_by("seq")
    return [json.loads(row.payload)["after"] for row in rows]


def test_the_first_beat_after_a_power_cut_tells_from_when_to_when_the_box_was_off(clocks: Clocks) -> None:
    last_seen(CUT)
    started(clocks)
    assert told() == [
        {"from": "2030-05-04T01:00:00+00:00", "to": "2030-05-04T07:30:00+00:00", "recorded_meanwhile": "no"}
    ]
    event = Event.objects.get(action="box:was-off")
    assert event.actor == "system:jobs"
    assert event.reason.startswith("Was off: from 2030-05-04 01:00 to 2030-05-04 07:30 UTC.")


def test_a_restart_is_no_power_cut_and_a_first_start_has_no_before(clocks: Clocks) -> None:
    started(clocks)
    Heartbeat.objects.update(beat_at=BACK - absence.SHORTEST)
    started(clocks)
    assert told() == []


def test_several_runners_that_start_together_note_one_gap(clocks: Clocks) -> None:
    last_seen(CUT, "one")
    last_seen(CUT - timedelta(hours=3), "two")
    for _ in range(3):
        started(clocks)
    assert len(told()) == 1


@pytest.mark.django_db(transaction=True)
def test_runners_in_threads_of_their_own_note_one_gap(clocks: Clocks) -> None:
    """On either database: SQLite lets one write at a time, PostgreSQL locks the beats that both read."""
    last_seen(CUT)
    barrier = threading.Barrier(3)

    def start(number: int) -> None:
        loop = Loop([], clock=lambda: clocks.now)
        loop.name = f"jobs@{number}"
        barrier.wait(timeout=20)
        try:
            loop.keep()
        finally:
            connection.close()

    threads = [threading.Thread(target=start, args=(number,)) for number in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    assert Heartbeat.objects.filter(beat_at=BACK).count() == 3
    assert len(told()) == 1


def test_while_it_beats_nothing_is_noted_and_a_machine_that_slept_says_so(clocks: Clocks) -> None:
    loop = started(clocks)
    for _ in range(4):
        clocks.pass_by(timedelta(minutes=9))
        loop.keep()
    assert told() == []
    clocks.pass_by(timedelta(hours=8))
    loop.keep()
    assert [one["from"] for one in told()] == ["2030-05-04T08:06:00+00:00"]


def test_a_clock_set_ahead_under_a_running_box_is_no_time_off(clocks: Clocks) -> None:
    loop = started(clocks)
    clocks.now += timedelta(days=1)
    clocks.steady_s += 15
    loop.keep()
    assert told() == []


def test_a_last_beat_that_lies_ahead_tells_nothing_of_a_gap(clocks: Clocks) -> None:
    last_seen(BACK + timedelta(days=1))
    started(clocks)
    assert told() == []


def test_a_job_of_two_hours_is_no_time_off(clocks: Clocks) -> None:
    """The beats stop after an hour so that the job is found; the machine was on all the time."""
    loop = started(clocks)
    loop._job, loop._job_since = Job(pk=1, tries=1, lease_owner=loop.owner), clocks.now
    for _ in range(24):
        clocks.pass_by(timedelta(minutes=5))
        loop.keep()
    assert Heartbeat.objects.get().beat_at == BACK + timedelta(hours=1)
    loop._job = None
    clocks.pass_by(timedelta(seconds=15))
    loop.keep()
    assert told() == []


def test_a_runner_that_fell_while_people_went_on_recording_is_told_as_that(clocks: Clocks) -> None:
    last_seen(CUT)
    clocks.now = CUT + timedelta(hours=2)
    make.organisation()
    clocks.now = BACK
    started(clocks)
    assert told()[0]["recorded_meanwhile"] == "yes"
    assert Event.objects.get(action="box:was-off").reason.startswith("The job runner was off, the pages were not:")


def test_after_a_week_off_each_daily_job_is_stored_once_and_those_of_past_days_are_not(clocks: Clocks) -> None:
    last_seen(BACK - timedelta(days=7))
    loop = started(clocks, DAILY)
    loop.plan_today(clocks.now)
    kinds = list(Job.objects.values_list("kind", flat=True))
    assert len(kinds) == len(set(kinds))
    assert {"backup", "sweep"} <= set(kinds)
    assert set(Job.objects.values_list("due_at", flat=True)) == {BACK}


def test_what_is_due_every_few_minutes_comes_once_after_a_night_off(clocks: Clocks) -> None:
    last_seen(CUT)
    loop = started(clocks, [Every(Kind.TIDY, minutes=5)])
    loop.plan_today(clocks.now)
    assert Job.objects.count() == 1


def test_a_clock_set_back_under_a_running_box_does_not_stop_the_planning(clocks: Clocks) -> None:
    loop = started(clocks, [Daily(Kind.TIDY, at=time(0, 0))])
    loop.plan_today(clocks.now)
    clocks.now -= timedelta(days=1)
    loop.plan_today(clocks.now)
    assert set(Job.objects.values_list("once_key", flat=True)) == {"tidy:2030-05-03", "tidy:2030-05-04"}


def test_what_is_due_every_few_minutes_goes_on_after_the_clock_was_set_back(clocks: Clocks) -> None:
    """Its slots of that day are stored already; the watch over the box must not rest for a day just then."""
    loop = started(clocks, [Every(Kind.TIDY, minutes=5)])
    due = []
    for minutes in (0, 1, 5, -24 * 60, 1, 4, 1, 9, 24 * 60):
        clocks.now += timedelta(minutes=minutes)
        before = Job.objects.count()
        loop.plan_today(clocks.now)
        loop.plan_today(clocks.now)
        Job.objects.update(finished_at=clocks.now)
        due.append(Job.objects.count() - before)
    assert due == [1, 0, 1, 1, 0, 1, 0, 1, 1]


def test_a_day_that_comes_again_slot_by_slot_has_one_job_each_time(clocks: Clocks) -> None:
    loop = started(clocks, [Every(Kind.TIDY, minutes=5)])
    for _day in range(2):
        clocks.now = BACK
        for _minute in range(20):
            loop.plan_today(clocks.now)
            Job.objects.update(finished_at=clocks.now)
            clocks.now += timedelta(minutes=1)
    assert Job.objects.count() == 8


def test_two_dispatchers_store_a_repeated_slot_once(clocks: Clocks) -> None:
    plan = [Every(Kind.TIDY, minutes=5)]
    for at in (BACK, BACK - timedelta(days=1)):
        enqueue_daily(plan, now=at)
        Job.objects.update(finished_at=at)
    assert [enqueue_daily(plan, now=BACK) for _ in range(2)] == [1, 0]


@pytest.mark.parametrize("fault", [OperationalError, InterfaceError])
def test_a_database_that_does_not_answer_does_not_end_the_beats(
    clocks: Clocks, monkeypatch: pytest.MonkeyPatch, fault: type[Exception]
) -> None:
    """Django tells a connection that is gone by either error, and only one of them is a DatabaseError."""
    loop = Loop([], clock=lambda: clocks.now)
    calls: list[int] = []

    def keep() -> None:
        calls.append(1)
        if len(calls) == 1:
            raise fault("the connection is gone")
        loop.stop()

    monkeypatch.setattr(loop, "keep", keep)
    monkeypatch.setattr("facility.jobs.loop.BEAT_SECONDS", 0.01)
    monkeypatch.setattr("facility.jobs.loop.close_old_connections", lambda: None)
    monkeypatch.setattr("facility.jobs.loop.connection", Mock())
    loop._keep()
    assert len(calls) == 2


@pytest.fixture
def site() -> Site:
    return make.site()


def test_the_events_of_a_site_and_the_page_of_the_jobs_show_it(clocks: Clocks, site: Site) -> None:
    last_seen(clocks.now - timedelta(hours=6, minutes=30))
    clocks.now = events.now() + timedelta(minutes=1)
    started(clocks)
    client = Client()
    person = User.objects.create(username="first", is_superuser=True)
    client.force_login(person, "django.contrib.auth.backends.ModelBackend")
    for address in (reverse("places:events", args=[site.key]), reverse("box:jobs")):
        assert "2030-05-04 01:00 to 2030-05-04 07:31 UTC" in client.get(address).content.decode()
