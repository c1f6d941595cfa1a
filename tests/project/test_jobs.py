"""Jobs: kept with what caused them, run once, tried again, and never lost without a word."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from typing import TYPE_CHECKING

import pytest
from celery import shared_task
from django.contrib.sessions.models import Session
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import transaction

from facility import events
from facility.jobs import runner, tasks
from facility.jobs.loop import Loop
from facility.jobs.queue import Daily, Every, Kind, enqueue, enqueue_daily
from facility.models import Event, Heartbeat, Job
from facility.project.schedule import DAILY

if TYPE_CHECKING:
    from collections.abc import Callable

pytestmark = [pytest.mark.django_db, pytest.mark.both]

NOON = datetime(2030, 5, 4, 12, 0, tzinfo=UTC)
ran: list[str] = []


@shared_task(name="tests.note")
def note(word: str = "ran") -> str:
    ran.append(word)
    return f"Noted {word}."


@shared_task(name="tests.fall")
def fall() -> str:
    raise RuntimeError("the disk is full")


@pytest.fixture(autouse=True)
def _kinds_of_the_test(monkeypatch: pytest.MonkeyPatch) -> None:
    ran.clear()
    monkeypatch.setitem(tasks.KINDS, "note", note)
    monkeypatch.setitem(tasks.KINDS, "fall", fall)


def make_job(kind: str = "note", *, due_at: datetime = NOON) -> Job:
    return Job.objects.create(kind=kind, arguments={}, made_at=NOON, due_at=due_at)


def clock_at(moment: datetime) -> Callable[[], datetime]:
    return lambda: moment


def test_each_kind_has_its_code() -> None:
    assert set(Kind) <= set(tasks.KINDS)


def test_a_job_goes_with_the_transaction_that_caused_it() -> None:
    with transaction.atomic():
        enqueue(Kind.TIDY)
        transaction.set_rollback(True)
    assert not Job.objects.exists()


def test_an_unknown_kind_is_refused_when_it_is_stored() -> None:
    with pytest.raises(ValueError, match="'polish' is not a valid Kind"):
        enqueue("polish")


def test_a_job_of_one_key_is_stored_once() -> None:
    assert enqueue(Kind.TIDY, once_key="today") == enqueue(Kind.TIDY, once_key="today")
    assert Job.objects.count() == 1


def test_a_job_is_not_run_before_it_is_due() -> None:
    make_job(due_at=NOON)
    assert runner.claim("a", now=NOON - timedelta(seconds=1)) is None
    assert runner.claim("a", now=NOON) is not None


def test_the_job_that_is_due_longest_comes_first() -> None:
    late = make_job(due_at=NOON)
    early = make_job(due_at=NOON - timedelta(hours=1))
    assert [runner.claim("a", now=NOON), runner.claim("a", now=NOON)] == [early, late]


def test_two_runners_do_not_get_the_same_job() -> None:
    make_job()
    assert runner.claim("a", now=NOON) is not None
    assert runner.claim("b", now=NOON) is None


def test_a_killed_runner_s_job_is_free_again_when_its_lease_has_run_out() -> None:
    job = make_job()
    runner.claim("killed", now=NOON)
    assert runner.claim("b", now=NOON + runner.LEASE - timedelta(seconds=1)) is None
    again = runner.claim("b", now=NOON + runner.LEASE)
    assert again == job
    assert again.tries == 2


def test_a_renewed_lease_keeps_others_away() -> None:
    make_job()
    mine = runner.claim("a", now=NOON)
    assert mine is not None
    assert runner.renew(mine, now=NOON + timedelta(seconds=50))
    assert runner.claim("b", now=NOON + runner.LEASE) is None


def test_a_lease_that_another_has_taken_over_cannot_be_renewed_or_ended() -> None:
    job = make_job()
    slow = runner.claim("slow", now=NOON)
    other = runner.claim("other", now=NOON + runner.LEASE)
    assert slow is not None
    assert other is not None
    assert not runner.renew(slow, now=NOON + runner.LEASE)
    runner.run(slow, clock=clock_at(NOON + runner.LEASE))
    job.refresh_from_db()
    assert (job.finished_at, job.lease_owner) == (None, "other")


def test_a_finished_job_keeps_its_outcome_and_is_not_run_again() -> None:
    job = make_job()
    mine = runner.claim("a", now=NOON)
    assert mine is not None
    assert runner.run(mine, clock=clock_at(NOON))
    job.refresh_from_db()
    assert (job.finished_at, job.outcome, job.lease_until) == (NOON, "Noted ran.", None)
    assert runner.claim("a", now=NOON + timedelta(days=1)) is None
    assert ran == ["ran"]


def test_arguments_reach_the_task() -> None:
    job = make_job()
    Job.objects.update(arguments={"word": "bell"})
    mine = runner.claim("a", now=NOON)
    assert mine == job
    runner.run(mine, clock=clock_at(NOON))
    assert ran == ["bell"]


def test_a_failed_job_is_tried_again_after_a_growing_pause_and_then_kept_dead() -> None:
    job = make_job("fall")
    now, waits = NOON, []
    while (mine := runner.claim("a", now=now)) is not None:
        assert not runner.run(mine, clock=clock_at(now))
        job.refresh_from_db()
        waits.append((job.due_at - now).total_seconds())
        now = max(now, job.due_at)
    assert waits[:-1] == [10, 40, 160, 640]
    assert job.tries == runner.MOST_TRIES
    assert job.dead_at == now
    assert "RuntimeError: the disk is full" in job.error
    assert runner.claim("a", now=now + timedelta(days=1)) is None


def test_a_job_that_kills_its_runner_each_time_is_dead_in_the_end() -> None:
    job = make_job()
    now = NOON
    for _ in range(runner.MOST_TRIES + 1):
        runner.claim("killed", now=now)
        now += runner.LEASE
    job.refresh_from_db()
    assert job.dead_at is not None
    assert job.error == "The runner stopped in the middle of try 5."


def test_a_job_that_this_version_does_not_know_says_so() -> None:
    job = make_job("from_a_newer_version")
    mine = runner.claim("a", now=NOON)
    assert mine is not None
    assert not runner.run(mine, clock=clock_at(NOON))
    job.refresh_from_db()
    assert "knows no job of the kind 'from_a_newer_version'" in job.error


def test_daily_jobs_are_stored_once_a_day_when_their_time_has_come() -> None:
    plan = [Daily(Kind.TIDY, at=time(2, 30))]
    assert enqueue_daily(plan, now=NOON.replace(hour=2, minute=29)) == 0
    assert enqueue_daily(plan, now=NOON.replace(hour=2, minute=30)) == 1
    assert enqueue_daily(plan, now=NOON) == 0
    assert enqueue_daily(plan, now=NOON + timedelta(days=1)) == 1


def test_a_job_of_every_few_minutes_is_stored_once_a_slot_and_none_is_made_up_for() -> None:
    plan = [Every(Kind.TIDY, minutes=5)]
    assert enqueue_daily(plan, now=NOON) == 1
    Job.objects.update(finished_at=NOON)
    assert enqueue_daily(plan, now=NOON + timedelta(minutes=4, seconds=59)) == 0
    assert enqueue_daily(plan, now=NOON + timedelta(hours=9, minutes=5)) == 1
    assert set(Job.objects.values_list("once_key", flat=True)) == {"tidy:2030-05-04T12:00", "tidy:2030-05-04T21:05"}


def test_a_job_of_every_few_minutes_waits_for_the_one_before_it() -> None:
    plan = [Every(Kind.TIDY, minutes=5)]
    enqueue_daily(plan, now=NOON)
    assert enqueue_daily(plan, now=NOON + timedelta(minutes=5)) == 0
    Job.objects.update(dead_at=NOON)
    assert enqueue_daily(plan, now=NOON + timedelta(minutes=5)) == 1


def test_the_loop_beats_plans_and_runs() -> None:
    loop = Loop(DAILY, clock=clock_at(NOON))
    loop.keep()
    assert Heartbeat.objects.get().beat_at == NOON
    make_job()
    assert loop.turn()
    assert ran == ["ran"]
    assert set(Job.objects.exclude(kind="note").values_list("kind", flat=True)) == {
        "verify_records",
        "backup",
        "checkpoint",
        "digests",
        "escalate",
        "render_volumes",
        "send_notices",
        "sweep",
        "tidy",
        "watch_box",
        "watch_readiness",
        "refresh_fleet",
    }


def test_a_loop_whose_job_hangs_no_longer_beats() -> None:
    now = [NOON]
    loop = Loop([], clock=lambda: now[0])
    loop._job, loop._job_since = make_job(), NOON
    now[0] = NOON + runner.LONGEST_RUN + timedelta(seconds=1)
    loop.keep()
    assert not Heartbeat.objects.exists()


def test_tidying_removes_what_is_long_done_and_nothing_else(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(events, "now", clock_at(NOON))
    old, fresh, waiting = make_job(), make_job(), make_job()
    Job.objects.filter(pk=old.pk).update(finished_at=NOON - timedelta(days=31))
    Job.objects.filter(pk=fresh.pk).update(finished_at=NOON - timedelta(days=29))
    Session.objects.create(session_key="gone", session_data="", expire_date=NOON - timedelta(seconds=1))
    Session.objects.create(session_key="open", session_data="", expire_date=NOON + timedelta(seconds=1))
    assert tasks.tidy().startswith("Removed 1 old job and 1 session that had run out. Removed 0 files")
    assert set(Job.objects.all()) == {fresh, waiting}
    assert Session.objects.get().session_key == "open"


def test_verifying_tells_how_many_events_it_saw_and_is_an_event_itself() -> None:
    assert tasks.verify_records().startswith("0 events verified")
    assert Event.objects.get().action == "records:verified"


def test_a_job_can_be_run_by_hand(capsys: pytest.CaptureFixture[str]) -> None:
    call_command("run_job", "verify_records")
    assert "events verified" in capsys.readouterr().out
    assert Job.objects.get().finished_at is not None


def test_a_job_run_by_hand_shows_its_error(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(tasks.KINDS, "tidy", fall)
    with pytest.raises(CommandError, match="the disk is full"):
        call_command("run_job", "tidy")
