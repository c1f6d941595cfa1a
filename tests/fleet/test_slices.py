"""A pass over all chambers gives way to quicker jobs, goes on where it was, and meets each chamber once."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any

import pytest
from celery import Celery

from facility import events
from facility.fleet import refreshing
from facility.jobs import giving_way, notice_tasks, tasks, worker
from facility.jobs.dispatch import Dispatcher
from facility.jobs.loop import Loop
from facility.jobs.progress import heard_by
from facility.jobs.queue import Every, Kind, Lane, enqueue, enqueue_daily
from facility.models import FleetState, Job, Told
from facility.notices import watch
from facility.sweep import looking
from tests.fleet import build

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

pytestmark = [pytest.mark.django_db, pytest.mark.both]
PASSES = [(Kind.REFRESH_FLEET, FleetState), (Kind.WATCH_READINESS, Told)]


@pytest.fixture(autouse=True)
def _one_at_a_time(monkeypatch: pytest.MonkeyPatch, clock: list[datetime]) -> None:
    """Three chambers at three sites, each a batch of its own; all that their making left to do is done."""
    _told.clear()
    build.three()
    Job.objects.all().delete()
    monkeypatch.setattr(refreshing, "AT_ONCE", 1)
    monkeypatch.setattr(looking, "AT_ONCE", 1)


def embedded() -> Iterator[str]:
    """Run what is due as the one runner does, and yield the kind of each job that ended."""
    loop = Loop([], clock=events.now, lane=Lane.QUICK)
    while loop.turn():
        yield _newest_done()


def workers(monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """Do the same by a broker: the dispatcher sends all that is due, one worker takes a message at a time."""
    sent: list[int] = []

    def send_task(_app: Celery, _name: str, args: list[int], **_rest: Any) -> None:
        sent.append(args[0])

    monkeypatch.setattr(Celery, "send_task", send_task)
    dispatcher = Dispatcher([], clock=events.now)
    while True:
        while dispatcher.turn():
            pass
        if not sent:
            return
        worker.run_row(sent.pop(0))
        yield _newest_done()


def _newest_done() -> str:
    done = Job.objects.filter(finished_at__isnull=False).exclude(pk__in=_told).order_by("pk")
    (row,) = list(done)
    _told.append(row.pk)
    return str(row.kind)


_told: list[int] = []


@pytest.mark.parametrize(("kind", "kept"), PASSES)
@pytest.mark.parametrize("way", ["embedded", "workers"])
def test_a_quicker_job_waits_for_one_batch_and_the_pass_goes_on_behind_it(
    kind: Kind, kept: Any, way: str, monkeypatch: pytest.MonkeyPatch, clock: list[datetime]
) -> None:
    enqueue(kind)
    enqueue(Kind.ESCALATE)
    run = embedded() if way == "embedded" else workers(monkeypatch)
    assert next(run) == kind
    assert kept.objects.count() == 1
    clock[0] += timedelta(seconds=1)
    order = list(run)
    assert order == [Kind.ESCALATE, kind]
    assert kept.objects.count() == 3
    assert not Job.objects.filter(finished_at=None).exists()


@pytest.mark.parametrize(("kind", "kept"), PASSES)
@pytest.mark.parametrize(("seconds", "rows"), [(0.0, 3), (600.0, 1)])
def test_a_slice_ends_after_some_seconds_so_that_what_is_due_each_minute_is_stored(
    kind: Kind, kept: Any, seconds: float, rows: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(giving_way, "SLICE_S", seconds)
    enqueue(kind)
    assert list(embedded()) == [kind] * rows
    assert kept.objects.count() == 3


def test_while_a_pass_goes_on_the_next_one_is_not_stored(clock: list[datetime]) -> None:
    plan = [Every(Kind.REFRESH_FLEET, minutes=3)]
    enqueue_daily(plan, now=clock[0])
    enqueue(Kind.ESCALATE)
    next(embedded())
    assert enqueue_daily(plan, now=clock[0] + timedelta(minutes=3)) == 0
    assert list(embedded()) == [Kind.ESCALATE, Kind.REFRESH_FLEET]
    assert enqueue_daily(plan, now=clock[0] + timedelta(minutes=3)) == 1


def test_the_other_pass_and_a_pack_are_no_reason_to_give_way() -> None:
    enqueue(Kind.WATCH_READINESS)
    enqueue(Kind.BUILD_PACK, {"pack": 1})
    assert not giving_way.somebody_waits(events.now())
    enqueue(Kind.TELL_CALL_OUT, {"call": 1}, due_at=events.now() + timedelta(seconds=1))
    assert not giving_way.somebody_waits(events.now())
    assert giving_way.somebody_waits(events.now() + timedelta(seconds=1))


def test_by_hand_a_pass_is_done_in_one() -> None:
    enqueue(Kind.ESCALATE)
    with heard_by(lambda _sentence: None):
        assert tasks.KINDS[Kind.REFRESH_FLEET].apply().result == "3 chambers reckoned anew."
    assert not Job.objects.filter(kind=Kind.REFRESH_FLEET).exists()


def test_a_slice_that_is_run_twice_stores_one_row_that_goes_on() -> None:
    enqueue(Kind.ESCALATE)
    row = enqueue(Kind.WATCH_READINESS)
    for tries in (1, 2):
        notice_tasks.watch_readiness.apply(task_id=f"job-{row.pk}-{tries}")
    (behind,) = Job.objects.filter(kind=Kind.WATCH_READINESS).exclude(pk=row.pk)
    assert behind.arguments == {"after": Told.objects.get().chamber.site_id}


def test_a_pass_meets_each_chamber_once_though_its_answer_falls_due_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(refreshing, "RENEWED_BEFORE", timedelta(days=1))
    enqueue(Kind.ESCALATE)
    said, rest = refreshing.refresh_some(enough=lambda: True)
    seen = [rest]
    while rest is not None:
        said, rest = refreshing.refresh_some(after=rest, enough=lambda: True)
        seen.append(rest)
    assert said == "1 chamber reckoned anew."
    assert len(seen) == len(set(seen)) == 3


def test_a_clock_behind_the_records_ends_the_pass(clock: list[datetime]) -> None:
    said, rest = watch.look_some(clock[0] - timedelta(days=30), enough=lambda: True)
    assert "Set the clock" in said
    assert rest is None
