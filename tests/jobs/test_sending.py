"""Rows at a broker: a message names a row, and the row alone says whether there is anything to do."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from celery import Celery, shared_task
from django.core.management import call_command
from django.core.management.base import CommandError
from kombu.exceptions import OperationalError

from facility import events
from facility.jobs import runner, tasks, worker
from facility.jobs.dispatch import Dispatcher
from facility.models import Job
from facility.project import supervisor

pytestmark = [pytest.mark.django_db, pytest.mark.both]

NOON = datetime(2030, 5, 4, 12, 0, tzinfo=UTC)
ran: list[str] = []


@shared_task(name="tests.noted")
def noted() -> str:
    ran.append("ran")
    return "Noted."


@pytest.fixture(autouse=True)
def _here(monkeypatch: pytest.MonkeyPatch) -> None:
    ran.clear()
    monkeypatch.setitem(tasks.KINDS, "noted", noted)
    monkeypatch.setattr(events, "now", lambda: NOON)


@pytest.fixture
def sent(monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, list[int]]]:
    """What the dispatcher hands to Celery."""
    found: list[tuple[str, list[int]]] = []

    def send_task(_app: Celery, name: str, args: list[int], **_rest: Any) -> None:
        found.append((name, args))

    monkeypatch.setattr(Celery, "send_task", send_task)
    return found


def make_job(due_at: datetime = NOON) -> Job:
    return Job.objects.create(kind="noted", made_at=NOON, due_at=due_at)


def dispatcher(now: datetime = NOON) -> Dispatcher:
    return Dispatcher([], clock=lambda: now)


def test_only_the_number_of_the_row_is_sent_and_only_once(sent: list[Any]) -> None:
    job = make_job()
    assert dispatcher().turn()
    assert not dispatcher().turn()
    assert sent == [("run_row", [job.pk])]
    job.refresh_from_db()
    assert job.tries == 0


def test_a_row_that_no_worker_took_is_sent_again_when_its_lease_has_run_out(sent: list[Any]) -> None:
    make_job()
    dispatcher().turn()
    assert not dispatcher(NOON + runner.LEASE - timedelta(seconds=1)).turn()
    assert dispatcher(NOON + runner.LEASE).turn()
    assert len(sent) == 2


def test_a_long_queue_at_the_broker_wears_no_try_out(sent: list[Any]) -> None:
    job = make_job()
    for n in range(2 * runner.MOST_TRIES):
        assert dispatcher(NOON + n * runner.LEASE).turn()
    worker.run_row(job.pk)
    job.refresh_from_db()
    assert (job.tries, job.outcome) == (1, "Noted.")


def test_no_more_rows_wait_at_the_broker_than_workers_take_soon(sent: list[Any]) -> None:
    jobs = [make_job() for _ in range(runner.MOST_SENT + 2)]
    while dispatcher().turn():
        pass
    assert len(sent) == runner.MOST_SENT
    worker.run_row(jobs[0].pk)
    assert dispatcher().turn()
    assert not dispatcher().turn()
    assert sent[-1][1] == [jobs[runner.MOST_SENT].pk]


def test_the_worker_runs_the_row_and_closes_it(sent: list[Any]) -> None:
    job = make_job()
    dispatcher().turn()
    worker.run_row(job.pk)
    job.refresh_from_db()
    assert (job.finished_at, job.outcome, job.lease_until) == (NOON, "Noted.", None)


def test_a_message_that_comes_twice_has_no_second_effect() -> None:
    job = make_job()
    worker.run_row(job.pk)
    worker.run_row(job.pk)
    assert ran == ["ran"]


def test_a_message_for_a_row_that_another_works_on_is_dropped() -> None:
    job = make_job()
    assert runner.take(job.pk, "worker@other:1", now=NOON) is not None
    worker.run_row(job.pk)
    assert ran == []


def test_an_old_message_does_not_shorten_the_pause_after_a_failed_try() -> None:
    job = make_job(due_at=NOON + timedelta(seconds=10))
    worker.run_row(job.pk)
    assert ran == []


def test_a_message_for_a_row_that_is_gone_is_dropped() -> None:
    worker.run_row(987654)
    assert ran == []


def test_a_row_that_kills_every_worker_is_dead_in_the_end() -> None:
    job, now = make_job(), NOON
    for _ in range(runner.MOST_TRIES + 1):
        runner.take(job.pk, "worker@killed:1", now=now)
        now += runner.LEASE
    job.refresh_from_db()
    assert job.dead_at is not None
    assert job.error == "The runner stopped in the middle of try 5."


def test_a_broker_that_is_down_loses_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    def down(*_: object, **__: object) -> None:
        raise OperationalError("connection refused")

    monkeypatch.setattr(Celery, "send_task", down)
    monkeypatch.setattr("facility.jobs.dispatch.BROKER_PAUSE_SECONDS", 0.0)
    job = make_job()
    assert not dispatcher().turn()
    job.refresh_from_db()
    assert (job.lease_until, job.tries, job.dead_at) == (None, 0, None)


def test_with_a_broker_a_worker_is_started_too(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("DEEPSTEAD_BROKER_URL", raising=False)
    assert [child.name for child in supervisor.children("127.0.0.1", 1)] == ["Web server", "Job runner"]
    monkeypatch.setenv("DEEPSTEAD_BROKER_URL", "redis://127.0.0.1/0")
    assert [child.name for child in supervisor.children("127.0.0.1", 1)] == ["Web server", "Job runner", "Worker"]


def test_a_worker_without_a_broker_says_what_to_do() -> None:
    with pytest.raises(CommandError, match="DEEPSTEAD_BROKER_URL is empty"):
        call_command("run_worker")
