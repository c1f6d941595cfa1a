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
    SEND_NOTICES = "send_notices"
    WATCH_READINESS = "watch_readiness"
    DIGESTS = "digests"
    ESCALATE = "escalate"
    TELL_CALL_OUT = "tell_call_out"
    WATCH_BOX = "watch_box"
    REFRESH_FLEET = "refresh_fleet"
    IMPORT = "import"


LONG: frozenset[Kind] = frozenset(
    {
        Kind.VERIFY_RECORDS, Kind.BACKUP, Kind.COPY_BACKUP, Kind.TRY_BACKUP,
        Kind.BUILD_PACK, Kind.CHECK_PACK, Kind.RENDER_VOLUMES, Kind.IMPORT,
    }
)  # fmt: skip
"""What may take minutes: it runs beside the others, so that no call waits for a backup or a pack."""


SENT = "sent:"
"""Begins the owner of a lease under which a row waits at a broker; a worker may take it over."""
LOOKED_AT = 200
"""So many of the newest rows tell when each kind was due last."""


class Lane(StrEnum):
    """Which jobs one runner takes."""

    ALL = "all"
    QUICK = "quick"
    LONG = "long"


@dataclass(frozen=True, slots=True)
class Daily:
    """A job that is due once a day, at a time of day in UTC; with ``weekday`` (Monday is 0) once a week."""

    kind: Kind
    at: time
    weekday: int | None = None

    def is_due(self, today: datetime) -> bool:
        """Return whether the time has come, on a day that counts."""
        return today.time() >= self.at and self.weekday in (None, today.weekday())

    def key(self, today: datetime) -> str | None:
        """Return the key of today's job, None while there is nothing to do."""
        return f"{self.kind}:{today.date()}" if self.is_due(today) else None


@dataclass(frozen=True, slots=True)
class Every:
    """A job that is due every few minutes, reckoned from midnight in UTC. Slots that went by are not made up for."""

    kind: Kind
    minutes: int

    def key(self, today: datetime) -> str:
        """Return the key of the slot that is on now."""
        begun = (today.hour * 60 + today.minute) // self.minutes * self.minutes
        return f"{self.kind}:{today.date()}T{begun // 60:02}:{begun % 60:02}"


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


def enqueue_daily(plan: Iterable[Daily | Every], *, now: datetime) -> int:
    """Store the jobs whose time has come and that are not stored yet. Return how many were new.

    A job of every few minutes is not stored while an earlier one of its kind still waits, is run or is tried again.
    """
    today = now.astimezone(UTC)
    due = {key: job for job in plan if (key := job.key(today)) is not None}
    stored = set(Job.objects.filter(once_key__in=due).values_list("once_key", flat=True))
    old = [job for key, job in due.items() if key in stored]
    due = {key: job for key, job in due.items() if key not in stored} | _again(old, today)
    open_now = set(Job.objects.filter(finished_at=None, dead_at=None).values_list("kind", flat=True).distinct())
    new = {key: job for key, job in due.items() if not (isinstance(job, Every) and job.kind in open_now)}
    for key, job in new.items():
        enqueue(job.kind, due_at=now, once_key=key)
    return len(new)


def _again(stored: Iterable[Daily | Every], today: datetime) -> dict[str, Daily | Every]:
    """Return the slots that come a second time since the clock was set back, each under a key of its own. One query.

    Else what is done every few minutes would rest for as long as the clock was set back. The newest row of a kind tells
    it: it was due later than the clock shows, or, when the first of the repeated slots is over, in another slot.
    """
    newest: dict[str, tuple[int, datetime]] = {}
    for pk, kind, due_at in Job.objects.order_by("-pk").values_list("pk", "kind", "due_at")[:LOOKED_AT]:
        newest.setdefault(kind, (pk, due_at))
    found: dict[str, Daily | Every] = {}
    for job in stored:
        pk, due_at = newest.get(job.kind, (0, today))
        if isinstance(job, Every) and (due_at > today or job.key(due_at.astimezone(UTC)) != job.key(today)):
            found[f"{job.key(today)}:after-{pk}"] = job
    return found
