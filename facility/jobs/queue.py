"""enqueue(): one job row inside the caller's transaction; a job may run twice and must bear it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, time
from enum import StrEnum
from typing import TYPE_CHECKING

from facility import events
from facility.models import Job

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping


class Kind(StrEnum):
    """What the runner can do; ``facility.jobs.tasks.KINDS`` names the code of each."""

    VERIFY_RECORDS = "verify_records"
    TIDY = "tidy"
    SWEEP = "sweep"
    BACKUP = "backup"
    COPY_BACKUP = "copy_backup"
    TRY_BACKUP = "try_backup"
    BUILD_PACK = "build_pack"
    CHECK_PACK = "check_pack"
    RENDER_VOLUMES = "render_volumes"
    CHECKPOINT = "checkpoint"


@dataclass(frozen=True, slots=True)
class Daily:
    """A job that is due once a day, at a time of day in UTC; with ``weekday`` (Monday is 0) once a week."""

    kind: Kind
    at: time
    weekday: int | None = None

    def is_due(self, today: datetime) -> bool:
        """Return whether the time has come, on a day that counts."""
        return today.time() >= self.at and self.weekday in (None, today.weekday())


def enqueue(
    kind: Kind | str,
    arguments: Mapping[str, object] | None = None,
    *,
    due_at: datetime | None = None,
    once_key: str | None = None,
) -> Job:
    """Store one job. With ``once_key`` a job of that key is stored once and found again afterwards.

    Errors: ValueError for a kind that no task is known for.
    """
    now = events.now()
    content = {
        "kind": Kind(kind).value,
        "arguments": dict(arguments or {}),
        "made_at": now,
        "due_at": due_at or now,
    }
    if once_key is None:
        return Job.objects.create(**content)
    return Job.objects.get_or_create(once_key=once_key, defaults=content)[0]


def enqueue_daily(plan: Iterable[Daily], *, now: datetime) -> int:
    """Store today's jobs whose time has come and that are not stored yet. Return how many were new."""
    today = now.astimezone(UTC)
    due = {f"{job.kind}:{today.date()}": job.kind for job in plan if job.is_due(today)}
    stored = set(Job.objects.filter(once_key__in=due).values_list("once_key", flat=True))
    for key in due.keys() - stored:
        enqueue(due[key], due_at=now, once_key=key)
    return len(due.keys() - stored)
