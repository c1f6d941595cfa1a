"""The runner of jobs that may take minutes: a process of its own, there only while such a job is due."""

from __future__ import annotations

import signal
import subprocess
import sys
from typing import TYPE_CHECKING

from facility import events
from facility.jobs import runner
from facility.jobs.queue import Lane
from facility.project.supervisor import ROOT

if TYPE_CHECKING:
    from collections.abc import Sequence

COMMAND = (sys.executable, str(ROOT / "manage.py"), "run_jobs", "--lane", str(Lane.LONG))
LOOK_SECONDS = 2.0
STOP_SECONDS = 6.0


class LongJobs:
    """Starts the second runner when a long job waits and none is there."""

    def __init__(self, command: Sequence[str] = COMMAND) -> None:
        self.command = command
        self.process: subprocess.Popen[bytes] | None = None
        self._looked_s = events.steady_seconds() - LOOK_SECONDS

    def look(self) -> None:
        """Start the second runner if it is wanted; at most one question to the database every two seconds."""
        if events.steady_seconds() - self._looked_s < LOOK_SECONDS or self.is_running():
            return
        self._looked_s = events.steady_seconds()
        if runner.of_lane(runner.waiting(events.now()), Lane.LONG).exists():
            self.process = subprocess.Popen(self.command)  # noqa: S603 - its own command

    def is_running(self) -> bool:
        """Whether the second runner is there."""
        return self.process is not None and self.process.poll() is None

    def stop(self) -> None:
        """Let the second runner end after the job that is under way; one that takes longer is ended and done again later."""
        if self.process is None or not self.is_running():
            return
        self.process.send_signal(signal.SIGTERM)
        try:
            self.process.wait(STOP_SECONDS)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
