"""The parts that this box rests on, each with a yes or no and a number."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from django.conf import settings
from django.db import DatabaseError
from django.db.models import Count, Max, Min, Q

from facility import events
from facility.health.keeping import keeping
from facility.health.part import Part
from facility.models import Heartbeat, Job

if TYPE_CHECKING:
    from datetime import datetime
    from pathlib import Path

MEBIBYTE = 1024 * 1024
SCHEDULER_LATE = timedelta(minutes=10)
JOB_LATE = timedelta(minutes=75)
"""A job may run for an hour, and another may wait for it; common practice, no source."""
SCHEDULER = "jobs@"
SENT = "sent:"
RESTING = ("clock", "scheduler", "jobs", "backup", "notices", "certificate", "records")
"""Parts that are not known while the database does not answer."""


@dataclass(frozen=True, slots=True)
class Queue:
    """The job table in numbers. Ages in seconds; none where nothing waits."""

    waiting: int
    dead: int
    oldest_s: float | None


def queue(at: datetime) -> Queue:
    """Count the jobs that are due and not begun, and the dead ones. One query."""
    free = Q(lease_until=None) | Q(lease_until__lte=at) | Q(lease_owner__startswith=SENT)
    due = Q(finished_at=None, dead_at=None, due_at__lte=at) & free
    found = Job.objects.aggregate(
        waiting=Count("pk", filter=due), dead=Count("pk", filter=Q(dead_at__isnull=False)), oldest=Min("due_at", filter=due)
    )  # fmt: skip
    oldest = found["oldest"]
    return Queue(found["waiting"], found["dead"], None if oldest is None else (at - oldest).total_seconds())


def scheduler_age_s(at: datetime) -> float | None:
    """Return how long the job runner has not been seen; none if it never was. One query.

    A beat that lies ahead is of before the clock was set back: a runner that is alive writes another within seconds.
    """
    beats = Heartbeat.objects.filter(name__startswith=SCHEDULER, beat_at__lte=at + events.CLOCK_SLACK)
    newest = beats.aggregate(newest=Max("beat_at"))["newest"]
    return None if newest is None else (at - newest).total_seconds()


def parts(at: datetime) -> dict[str, Part]:
    """Look at every part; five queries at most. A database that does not answer leaves the parts that rest on it unknown."""
    found = {"disk": disk(settings.DATA_DIR, settings.DISK_LEAST_MIB)}
    try:
        newest = events.latest().values_list("recorded_at", flat=True).first()
        return found | {
            "database": Part(ok=True, measured={}),
            "clock": clock(newest, at),
            "scheduler": scheduler(scheduler_age_s(at)),
            "jobs": jobs(queue(at)),
            **keeping(at),
        }
    except DatabaseError:
        gone = Part(ok=False, measured={}, advice="The database does not answer: look at its log and at the disk.")
        rest = Part(ok=False, measured={}, advice="Not known while the database does not answer.")
        return found | {"database": gone} | dict.fromkeys(RESTING, rest)


def disk(folder: Path, least_mib: int) -> Part:
    """Return whether the data folder has room. Units: MiB."""
    try:
        free = shutil.disk_usage(folder).free // MEBIBYTE
    except OSError:
        return Part(ok=False, measured={"free_mib": None}, advice="The data folder cannot be read: is its disk there?")
    advice = f"Less than {least_mib} MiB are free: make room, or nothing can be recorded soon."
    return Part(free >= least_mib, {"free_mib": free}, advice)


def clock(newest: datetime | None, at: datetime) -> Part:
    """Return whether the clock stands behind the latest record. Units: s."""
    behind = 0.0 if newest is None else max(0.0, (newest - at).total_seconds())
    return Part(
        behind <= events.CLOCK_SLACK.total_seconds(), {"behind_records_s": behind}, "Set the clock of this machine."
    )


def scheduler(age_s: float | None) -> Part:
    """Return whether the job runner was seen lately. Units: s."""
    fine = age_s is not None and age_s <= SCHEDULER_LATE.total_seconds()
    return Part(
        fine, {"age_s": age_s}, "The job runner stands still: start it again (`manage.py up`) and read its log."
    )


def jobs(found: Queue) -> Part:
    """Return whether a job has waited too long. Units: s."""
    fine = found.oldest_s is None or found.oldest_s <= JOB_LATE.total_seconds()
    measured = {"waiting": float(found.waiting), "dead": float(found.dead), "oldest_waiting_s": found.oldest_s}
    return Part(fine, measured, "A job waits too long: is a worker running?")
