"""A runner that has grown begins anew when nothing is due, under the same process number."""

from __future__ import annotations

import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

from facility.jobs import runner, worn
from facility.jobs.loop import Loop
from facility.models import Job
from tests.alone import floats_of

ROOT = Path(__file__).resolve().parents[2]
NOW = datetime(2026, 3, 12, 9, 0, tzinfo=UTC)
TWICE = """
import os
os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"
import django
django.setup()
from facility.jobs import worn
print(os.getpid(), flush=True)
if not os.environ.get("SECOND"):
    os.environ["SECOND"] = "yes"
    worn.begin_anew()
"""


GROWS = """
from facility.jobs import worn
growth = worn.Growth()
held = bytearray(b"x") * (40 * 1024 * 1024)
young = growth.is_much()
worn.LEAST_SECONDS = 0.0
print(int(young), int(growth.is_much()), worn.own_mib() - growth.first_mib)
"""


@pytest.mark.skipif(not worn.STATM.exists(), reason="this system does not tell a process its memory under /proc")
def test_forty_mebibytes_are_seen_as_growth_once_the_runner_is_old_enough() -> None:
    young, old, grown_mib = floats_of(GROWS)
    assert not young, "a young runner stays"
    assert old
    assert grown_mib == pytest.approx(40, abs=6)


def test_where_the_system_tells_nothing_the_runner_goes_on(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(worn, "STATM", tmp_path / "none")
    monkeypatch.setattr(worn, "LEAST_SECONDS", 0.0)
    assert not worn.Growth().is_much()


def test_the_same_process_runs_the_same_program_again() -> None:
    done = subprocess.run(
        [sys.executable, "-c", TWICE], cwd=ROOT, capture_output=True, text=True, check=True, timeout=60
    )
    first, second = done.stdout.split()
    assert first == second


@pytest.mark.django_db
def test_what_is_due_is_done_before_the_runner_begins_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    left = ["first", "second"]
    done: list[str] = []
    monkeypatch.setattr(runner, "claim", lambda *_, **__: Job(kind=left.pop(0)) if left else None)

    def ran(job: Job, **_: object) -> bool:
        done.append(job.kind)
        return True

    monkeypatch.setattr(runner, "run", ran)
    loop = Loop([], clock=lambda: NOW, enough=lambda: True)
    monkeypatch.setattr(loop, "_keep", lambda: None)
    monkeypatch.setattr("facility.jobs.loop.close_old_connections", lambda: None)
    assert loop.run()
    assert done == ["first", "second"]
