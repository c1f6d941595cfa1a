"""The code of the jobs that make notices. Each returns one sentence on what it did, and does nothing new if run twice."""

from __future__ import annotations

from typing import Any

from celery import Task, shared_task

from facility import events
from facility.jobs.queue import Kind
from facility.notices import digest, watch


@shared_task(name="watch_readiness")
def watch_readiness() -> str:
    """Tell what changed in readiness since people were last told, and what will within the lead time."""
    return watch.look(events.now())


@shared_task(name="digests")
def digests() -> str:
    """Make today's digest of everybody whose hour has come."""
    return digest.make(events.now())


#: by the text that a job row holds
KINDS: dict[str, Task[..., Any]] = {Kind.WATCH_READINESS: watch_readiness, Kind.DIGESTS: digests}
