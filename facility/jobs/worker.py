"""The one task that a broker carries: run the row of this number. Its lease is kept while it runs."""

from __future__ import annotations

import logging
import os
import socket
import threading
from contextlib import contextmanager
from typing import TYPE_CHECKING

from celery import shared_task
from django.db import DatabaseError, connection

from facility import events
from facility.jobs import runner

if TYPE_CHECKING:
    from collections.abc import Iterator

    from facility.models import Job

log = logging.getLogger(__name__)

RUN_ROW = "run_row"


@shared_task(name=RUN_ROW, acks_late=False)
def run_row(pk: int) -> None:
    """Run one job. The message is taken off at once: if this worker falls, the row's lease runs out and it is sent again."""
    job = runner.take(pk, f"worker@{socket.gethostname()}:{os.getpid()}", now=events.now())
    if job is None:
        return
    with kept(job):
        if not runner.run(job, clock=events.now):
            log.warning("Job %s did not end well; its error is kept with it.", job)


@contextmanager
def kept(job: Job) -> Iterator[None]:
    """Lengthen the lease of a job while it runs, but not for longer than a job may run."""
    done = threading.Event()
    keeper = threading.Thread(target=_keep, args=(job, done), name="keeper", daemon=True)
    keeper.start()
    try:
        yield
    finally:
        done.set()
        keeper.join(timeout=5)


def _keep(job: Job, done: threading.Event) -> None:
    pause = runner.LEASE.total_seconds() / 4
    last = events.steady_seconds() + runner.LONGEST_RUN.total_seconds()
    while not done.wait(pause) and events.steady_seconds() < last:
        try:
            runner.renew(job, now=events.now())
        except DatabaseError:
            log.exception("The lease of job %s could not be lengthened; tried again in %s s.", job, pause)
    connection.close()
