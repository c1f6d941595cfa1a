"""The page of the jobs: what runs, waits, was given up and is due next; and running a dead one again."""

from __future__ import annotations

import json
from datetime import UTC, datetime, time, timedelta
from typing import TYPE_CHECKING, Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from facility import events
from facility.box import jobs_shown
from facility.jobs import again, runner
from facility.jobs.queue import Daily, Every, Kind, enqueue
from facility.jobs.words import WORDS, words_of
from facility.models import Event, Heartbeat, Job, User
from facility.project.schedule import DAILY
from tests import make

if TYPE_CHECKING:
    from collections.abc import Callable

pytestmark = [pytest.mark.django_db, pytest.mark.both]
PAGE = "/box/jobs/"
TRACE = 'Traceback (most recent call last):\n  File "pack.py", line 3\nOSError: <no room> on the disk\n'


@pytest.fixture(autouse=True)
def _clock(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(events, "now", lambda: make.NOON)


@pytest.fixture
def client() -> Client:
    """A client in which a first account is signed in."""
    found = Client()
    person = User.objects.create(username="first", is_superuser=True)
    found.force_login(person, "django.contrib.auth.backends.ModelBackend")
    return found


def shown(client: Client) -> str:
    answer = client.get(PAGE)
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def job(kind: str = "tidy", **values: Any) -> Job:
    return Job.objects.create(**{"kind": kind, "made_at": make.NOON, "due_at": make.NOON} | values)


def dead() -> Job:
    return job("build_pack", arguments={"pack": 7}, dead_at=make.NOON, tries=runner.MOST_TRIES, error=TRACE)


def test_with_nothing_done_yet_it_says_what_is_missing(client: Client) -> None:
    page = shown(client)
    for words in ("No runner was ever seen.", "Nothing runs.", "Nothing waits.", "not in the last 30 days"):
        assert words in page


def test_a_job_at_work_tells_its_progress_and_what_waits_is_told_apart(client: Client) -> None:
    job("build_pack", lease_until=make.NOON + timedelta(seconds=30), lease_owner="jobs@box:1", progress="Page 40 of 90")
    job("sweep", lease_until=make.NOON + timedelta(seconds=30), lease_owner="sent:jobs@box")
    job("backup", tries=2, error=TRACE, due_at=make.NOON + timedelta(minutes=3))
    job("tidy", tries=1, lease_until=make.NOON - timedelta(seconds=1))
    page = shown(client)
    running = page[page.index("Running now") : page.index("Given up")]
    waiting = page[page.index("Waiting") : page.index("By schedule")]
    assert "Page 40 of 90" in running
    assert running.count("<li>") == 1
    for words in (
        "sent to the workers",
        "try 2 went wrong; it is tried again",
        "was interrupted; it is taken up again",
    ):
        assert words in waiting


def test_a_dead_job_shows_the_last_line_of_its_error_and_the_whole_in_a_fold(client: Client) -> None:
    dead()
    page = shown(client)
    assert "<summary>OSError: &lt;no room&gt; on the disk</summary>" in page
    assert "<pre>Traceback (most recent call last):" in page
    assert "given up after 5 tries" in page


def test_a_dead_job_that_is_run_again_is_due_with_all_its_tries_and_an_event_names_who_asked(client: Client) -> None:
    gone = dead()
    assert client.post(reverse("box:run_again", args=[gone.pk])).status_code == 302
    gone.refresh_from_db()
    assert (gone.dead_at, gone.tries, gone.due_at, gone.error) == (None, 0, make.NOON, TRACE)
    assert gone.arguments == {"pack": 7}
    assert runner.claim("a", now=make.NOON) == gone
    (event,) = Event.objects.filter(action="job:again")
    assert (event.actor, json.loads(event.payload)["after"]) == (
        "first", {"job": str(gone.pk), "kind": "build_pack"},
    )  # fmt: skip


@pytest.mark.parametrize("state", [{}, {"finished_at": make.NOON}], ids=["waiting", "done"])
def test_only_a_dead_job_can_be_run_again(client: Client, state: dict[str, Any]) -> None:
    alive = job(tries=3, **state)
    client.post(reverse("box:run_again", args=[alive.pk]))
    alive.refresh_from_db()
    assert alive.tries == 3
    assert not Event.objects.filter(action="job:again").exists()
    assert client.post(reverse("box:run_again", args=[alive.pk + 999])).status_code == 404


def test_of_two_who_ask_for_the_same_job_one_is_told_so_and_one_event_is_stored() -> None:
    gone = dead()
    assert [again.run_again(gone.pk, by=make.BY) for _ in range(2)] == [True, False]
    assert Event.objects.filter(action="job:again").count() == 1


def test_a_scheduled_job_can_be_run_now_and_asking_twice_makes_one(client: Client) -> None:
    for _ in range(2):
        assert client.post(reverse("box:run_now"), {"kind": "sweep"}).status_code == 302
    assert [one.kind for one in Job.objects.all()] == [Kind.SWEEP]
    (event,) = Event.objects.filter(action="job:asked")
    assert (event.actor, json.loads(event.payload)["after"]) == ("first", {"kind": "sweep"})


@pytest.mark.parametrize("kind", ["build_pack", "no such job", ""])
def test_a_job_that_must_be_told_what_to_work_on_is_not_run_by_hand(client: Client, kind: str) -> None:
    client.post(reverse("box:run_now"), {"kind": kind})
    assert not Job.objects.exists()


def test_the_schedule_shows_when_each_was_done_last_and_how_it_ended(client: Client) -> None:
    job("tidy", finished_at=make.NOON - timedelta(days=2), outcome="The older one.")
    job("tidy", finished_at=make.NOON - timedelta(days=1), outcome="Removed 3 old jobs.")
    page = shown(client)
    assert "Removed 3 old jobs." in page
    assert "The older one." not in page
    assert all(f"<code>{entry.kind}</code>" in page for entry in DAILY)  # what run_job takes by hand
    assert page.count("Run now") == len(DAILY)


def test_each_scheduled_job_is_named_by_what_it_does(client: Client) -> None:
    assert {entry.kind for entry in DAILY} <= set(WORDS)
    assert words_of("from_a_newer_version") == "From a newer version"
    assert "Look for what falls due" in shown(client)


@pytest.mark.parametrize(
    ("entry", "next_at"),
    [
        (Daily(Kind.TIDY, at=time(12, 0)), datetime(2030, 5, 5, 12, 0, tzinfo=UTC)),
        (Daily(Kind.TIDY, at=time(12, 1)), datetime(2030, 5, 4, 12, 1, tzinfo=UTC)),
        (Daily(Kind.TIDY, at=time(2, 15), weekday=6), datetime(2030, 5, 5, 2, 15, tzinfo=UTC)),
        (Daily(Kind.TIDY, at=time(2, 15), weekday=5), datetime(2030, 5, 11, 2, 15, tzinfo=UTC)),
        (Every(Kind.TIDY, minutes=7), datetime(2030, 5, 4, 12, 1, tzinfo=UTC)),
    ],
)
def test_the_next_time_is_by_the_calendar(entry: Daily | Every, next_at: datetime) -> None:
    """4 May 2030 is a Saturday, day 5 of Python's week; 12:00 is minute 720, the 103rd span of 7 ends at 721."""
    assert jobs_shown.next_due(entry, datetime(2030, 5, 4, 12, 0, tzinfo=UTC)) == next_at


@pytest.mark.parametrize(
    ("before", "words"),
    [
        (timedelta(seconds=20), "The runner on box was seen 0 min ago."),
        (timedelta(hours=3), "The runner on box has not been seen for 3 h 00."),
        (timedelta(hours=-3), "which is still to come: set the clock."),
    ],
)
def test_the_runner_tells_when_it_was_seen(client: Client, before: timedelta, words: str) -> None:
    beat_at = make.NOON - before
    Heartbeat.objects.create(name="jobs@box", beat_at=beat_at, started_at=beat_at)
    assert words in shown(client)


def test_runners_of_long_ago_are_named_only_if_none_came_after(client: Client) -> None:
    old = make.NOON - timedelta(days=30)
    Heartbeat.objects.create(name="jobs@old", beat_at=old, started_at=old)
    assert "on old" in shown(client)
    Heartbeat.objects.create(name="jobs@new", beat_at=make.NOON, started_at=make.NOON)
    assert "on old" not in shown(client)


def test_many_jobs_are_counted_and_cost_no_more_queries(client: Client) -> None:
    counts = []
    for number in (1, 60):
        for _ in range(number):
            dead()
            enqueue(Kind.TIDY)
        with CaptureQueriesContext(connection) as caught:
            page = shown(client)
        counts.append(len(caught))
    assert counts[0] == counts[1]
    assert "21 older ones are not shown." in page
    assert "At least 21 more wait." in page


def test_who_is_no_first_account_sees_nothing_and_asks_for_nothing() -> None:
    other = Client()
    other.force_login(make.user(make.site(), "director"), "django.contrib.auth.backends.ModelBackend")
    gone = dead()
    asks: list[Callable[[], Any]] = [
        lambda: other.get(PAGE),
        lambda: other.post(reverse("box:run_again", args=[gone.pk])),
        lambda: other.post(reverse("box:run_now"), {"kind": "sweep"}),
    ]
    assert [ask().status_code for ask in asks] == [403, 403, 403]
    assert Job.objects.filter(dead_at=None).count() == 0
