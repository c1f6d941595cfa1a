"""The command of the job runner: what it starts beside the loop."""

from __future__ import annotations

import signal
from typing import TYPE_CHECKING

import pytest
from django.core.management import call_command

from facility.health import pulse
from facility.jobs.loop import Loop
from facility.management.commands import run_jobs

if TYPE_CHECKING:
    from collections.abc import Iterator

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _signals() -> Iterator[None]:
    before = {number: signal.getsignal(number) for number in (signal.SIGTERM, signal.SIGINT)}
    yield
    for number, handler in before.items():
        signal.signal(number, handler)


@pytest.mark.parametrize(("arguments", "count"), [([], 1), (["--lane", "long"], 0)])
def test_signs_of_life_are_sent_by_the_one_runner_that_is_always_there(
    monkeypatch: pytest.MonkeyPatch, arguments: list[str], count: int
) -> None:
    """The process for long jobs comes and goes."""
    started: list[object] = []
    monkeypatch.setattr(pulse, "start", started.append)
    monkeypatch.setattr(Loop, "run", lambda _loop: False)
    monkeypatch.setattr(run_jobs, "end_with_parent", lambda: None)
    call_command("run_jobs", *arguments)
    assert len(started) == count
