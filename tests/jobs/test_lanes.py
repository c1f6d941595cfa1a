"""What may take minutes keeps nobody waiting: calls and notices go out while a pack is built."""

from __future__ import annotations

import os
import signal
import sys
import time
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import pytest

from facility import events
from facility.jobs import queue, runner
from facility.jobs.queue import LONG, Kind, Lane
from facility.management.long_jobs import LongJobs

if TYPE_CHECKING:
    from facility.models import Job

NOW = datetime(2026, 3, 12, 9, 0, tzinfo=UTC)
pytestmark = pytest.mark.django_db


def due(kind: Kind, minutes_ago: int) -> Job:
    """Store a job that has been due for so long."""
    return queue.enqueue(kind, due_at=NOW - timedelta(minutes=minutes_ago))


def test_a_quick_job_does_not_wait_for_a_pack_that_was_due_before() -> None:
    pack = due(Kind.BUILD_PACK, 30)
    told = due(Kind.ESCALATE, 1)
    assert runner.claim("quick", now=NOW, lane=Lane.QUICK) == told
    assert runner.claim("quick", now=NOW, lane=Lane.QUICK) is None
    assert runner.claim("long", now=NOW, lane=Lane.LONG) == pack


def test_workers_get_one_long_job_at_a_time_and_the_quick_ones_meanwhile() -> None:
    first, second = due(Kind.BACKUP, 30), due(Kind.RENDER_VOLUMES, 20)
    told = due(Kind.ESCALATE, 1)
    assert runner.claim_to_send("d", now=NOW) == first
    assert runner.claim_to_send("d", now=NOW) == told
    assert runner.claim_to_send("d", now=NOW) is None
    taken = runner.take(first.pk, "worker", now=NOW)
    assert taken is not None
    assert runner.claim_to_send("d", now=NOW) is None, "at work, too, it is one"
    runner.held(taken).update(finished_at=NOW, lease_until=None)
    assert runner.claim_to_send("d", now=NOW) == second


def test_every_long_kind_is_a_kind_and_a_call_is_none_of_them() -> None:
    assert set(Kind) > LONG
    assert not LONG & {Kind.ESCALATE, Kind.TELL_CALL_OUT, Kind.SEND_NOTICES, Kind.WATCH_READINESS, Kind.SWEEP}


def test_the_second_runner_is_there_only_while_a_long_job_waits(monkeypatch: pytest.MonkeyPatch) -> None:
    aside = LongJobs([sys.executable, "-c", "import time; time.sleep(60)"])
    monkeypatch.setattr(events, "now", lambda: NOW)
    due(Kind.ESCALATE, 1)
    aside.look()
    assert not aside.is_running()
    due(Kind.BUILD_PACK, 1)
    aside._looked_s -= 10
    aside.look()
    assert aside.is_running()
    assert aside.process is not None
    pid = aside.process.pid
    aside._looked_s -= 10
    aside.look()
    assert aside.process.pid == pid, "one, not two"
    aside.stop()
    assert aside.process.returncode == -signal.SIGTERM
    with pytest.raises(ProcessLookupError):
        os.kill(pid, 0)


def test_a_second_runner_that_does_not_end_is_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("facility.management.long_jobs.STOP_SECONDS", 0.3)
    code = "import signal, time; signal.signal(signal.SIGTERM, signal.SIG_IGN); print(1, flush=True); time.sleep(60)"
    aside = LongJobs([sys.executable, "-c", code])
    monkeypatch.setattr(events, "now", lambda: NOW)
    due(Kind.BUILD_PACK, 1)
    aside.look()
    time.sleep(1.0)
    aside.stop()
    assert aside.process is not None
    assert aside.process.returncode == -signal.SIGKILL
