"""The broker is killed with what it holds, and a worker with it: pages go on, and each job is done once with effect."""

from __future__ import annotations

import os
import shutil
import sys
from typing import TYPE_CHECKING

import pytest

from facility import events
from facility.models import Event, Job, Organisation
from tests.unplug import servers
from tests.unplug.servers import Processes, answers_on, wait

if TYPE_CHECKING:
    from collections.abc import Iterator

    from tests.unplug.box import Box

pytestmark = pytest.mark.service
JOBS = 12
PACE = "0.15"


@pytest.fixture
def processes() -> Iterator[Processes]:
    found = Processes()
    try:
        yield found
    finally:
        found.end()


def start_broker(processes: Processes, port: int) -> None:
    """Start a Redis that keeps nothing on disk: killed, it forgets every message."""
    program = shutil.which("redis-server")
    if not program:
        pytest.skip("No redis-server on this machine: Debian has it in the package redis-server.")
    processes.start("broker", [program, "--port", str(port), "--bind", "127.0.0.1", "--save", "", "--appendonly", "no"])
    wait("Redis", lambda: answers_on(port))


def start_crew(processes: Processes, box: Box, port: int) -> None:
    told = {"DEEPSTEAD_BROKER_URL": f"redis://127.0.0.1:{port}/0", "DEEPSTEAD_QUEUE": f"unplug-{os.getpid()}"}
    for mode in ("worker", "dispatcher"):
        line = [sys.executable, "-m", "tests.jobs.process", mode, PACE]
        processes.start(mode, line, box.made.environment() | told)


def test_a_broker_that_is_killed_with_all_it_holds_loses_no_job(box: Box, processes: Processes) -> None:
    port, now = servers.free_port(), events.now()
    for number in range(JOBS):
        Job.objects.create(kind="mark", arguments={"number": number}, made_at=now, due_at=now)
    start_broker(processes, port)
    start_crew(processes, box, port)
    wait("the first jobs", lambda: Job.objects.filter(finished_at__isnull=False).count() >= 2)
    processes.kill("broker")
    processes.kill("worker")
    open_now = Job.objects.filter(finished_at=None).count()
    assert 0 < open_now < JOBS
    assert box.now_page()[0] == 200
    assert box.enter_reading()[0] == 302
    assert Job.objects.filter(dead_at__isnull=False).count() == 0
    start_broker(processes, port)
    processes.kill("dispatcher")
    start_crew(processes, box, port)
    wait("the end of every job", lambda: not Job.objects.filter(kind="mark", finished_at=None).exists())
    keys = [f"job-{number}" for number in range(JOBS)]
    assert sorted(Organisation.objects.filter(key__startswith="job-").values_list("key", flat=True)) == sorted(keys)
    assert Event.objects.filter(actor="system:mark").count() == JOBS
