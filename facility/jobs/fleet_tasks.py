"""The code of the job behind the organisation's page, as a Celery task."""

from __future__ import annotations

from typing import Any

from celery import Task, shared_task

from facility.fleet import refreshing
from facility.jobs.giving_way import Slice, go_on
from facility.jobs.progress import telling
from facility.jobs.queue import Kind


@shared_task(name="refresh_fleet", bind=True)
def refresh_fleet(self: Task[..., Any], after: int = 0) -> str:
    """Reckon anew the chambers whose kept answer no longer counts or soon will not, a slice of them at a time."""
    told, rest = refreshing.refresh_some(telling(self.request.id), after=after, enough=Slice().is_over)
    go_on(Kind.REFRESH_FLEET, self.request.id, rest)
    return told


KINDS: dict[str, Task[..., Any]] = {Kind.REFRESH_FLEET: refresh_fleet}
