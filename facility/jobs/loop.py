"""The runner's process: one job after the other, while a second thread beats and keeps the lease."""

from __future__ import annotations

import logging
import os
import socket
import threading
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from django.db import DatabaseError, InterfaceError, close_old_connections, connection, transaction

from facility import events
from facility.jobs import absence, runner
from facility.jobs.queue import Daily, Every, Lane, enqueue_daily

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from facility.models import Job

log = logging.getLogger(__name__)

POLL_SECONDS = 0.5
BEAT_SECONDS = 15.0
PLAN_EVERY = timedelta(seconds=60)


class Loop:
    """Runs due jobs until it is told to stop; a job under way is finished first."""

    def __init__(
        self,
        plan: Sequence[Daily | Every],
        clock: Callable[[], datetime] = events.now,
        lane: Lane = Lane.ALL,
        enough: Callable[[], bool] = lambda: False,
    ) -> None:
        self.plan = plan
        self.lane = lane
        self.enough = enough
        self.clock = clock
        self.name = f"{'long' if lane is Lane.LONG else 'jobs'}@{socket.gethostname()}"
        self.owner = f"{self.name}:{os.getpid()}"
        self.started_at = clock()
        self.stopped = threading.Event()
        self._job: Job | None = None
        self._job_since = self.started_at
        self._planned_at: datetime | None = None
        self._kept_s: float | None = None

    def stop(self) -> None:
        """Let run() return after the job that is under way."""
        self.stopped.set()

    def run(self) -> bool:
        """Work until stop(), or until nothing is due and ``enough`` says so. Return whether it was the latter."""
        ended = False
        keeper = threading.Thread(target=self._keep, name="keeper", daemon=True)
        keeper.start()
        while not self.stopped.is_set():
            close_old_connections()
            if not self.turn():
                ended = self.enough()
                if ended:
                    self.stop()
                self.stopped.wait(POLL_SECONDS)
        keeper.join(timeout=1)
        return ended

    def turn(self) -> bool:
        """Store what is due today and run at most one job. Return whether one was run."""
        now = self.clock()
        self.plan_today(now)
        job = runner.claim(self.owner, now=now, lane=self.lane)
        if job is None:
            return False
        self._job_since, self._job = now, job
        try:
            if not runner.run(job, clock=self.clock):
                log.warning("Job %s did not end well; its error is kept with it.", job)
        finally:
            self._job = None
        return True

    def plan_today(self, now: datetime) -> None:
        """Store what is due today, once a minute, and at once if the clock was set."""
        if self._planned_at is None or abs(now - self._planned_at) >= PLAN_EVERY:
            enqueue_daily(self.plan, now=now)
            self._planned_at = now

    def keep(self) -> None:
        """Beat and lengthen the lease once; a job that runs far too long loses both."""
        now, job = self.clock(), self._job
        if job is not None and now - self._job_since > runner.LONGEST_RUN:
            self._kept_s = events.steady_seconds()
            return
        with transaction.atomic():
            if self.lane is not Lane.LONG and self._stood_still():
                absence.note(now=now)
            runner.beat(self.name, started_at=self.started_at, now=now)
        self._kept_s = events.steady_seconds()
        if job is not None:
            runner.renew(job, now=now)

    def _stood_still(self) -> bool:
        """Return whether this is the first beat, or the machine slept or could not store one for long."""
        return self._kept_s is None or events.steady_seconds() - self._kept_s > absence.SHORTEST.total_seconds()

    def _keep(self) -> None:
        while True:
            try:
                self.keep()
            except (DatabaseError, InterfaceError):
                log.exception("The runner could not note that it is alive; it tries again in %s s.", BEAT_SECONDS)
            close_old_connections()
            if self.stopped.wait(BEAT_SECONDS):
                connection.close()
                return
