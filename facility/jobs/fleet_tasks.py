"""The code of the job behind the organisation's page, as a Celery task."""

from __future__ import annotations

from typing import Any

from celery import Task, shared_task

from facility.fleet import refreshing
from facility.jobs.progress import telling
from facility.jobs.queue import Kind


@shared_task(name="refresh_fleet", bind=True)
def refresh_fleet(self: Task[..., Any]) -> str:
    """Reckon anew the chambers whose kept answer no longer counts or soon will not."""
    return refreshing.refresh(telling(self.request.id))


KINDS: dict[str, Task[..., Any]] = {Kind.REFRESH_FLEET: refresh_fleet}
