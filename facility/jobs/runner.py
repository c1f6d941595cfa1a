"""Claims one due job with a lease, runs its task here, ends the lease.

A runner that is killed leaves its lease behind; when that has run out, the job is run again.
After ``MOST_TRIES`` a job is dead and keeps its last error.
"""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from django.db import connection, transaction
from django.db.models import Q, QuerySet

from facility.jobs.queue import LONG, SENT, Lane
from facility.jobs.tasks import KINDS
from facility.models import Heartbeat, Job

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

LEASE = timedelta(seconds=60)
LONGEST_RUN = timedelta(hours=1)
CLOCK_SLACK = timedelta(minutes=10)
MOST_TRIES = 5
FIRST_PAUSE = timedelta(seconds=10)
LONGEST_PAUSE = timedelta(hours=1)
PAUSE_FACTOR = 4
MOST_SENT = 20
"""So many rows wait at a broker at most: the rest waits here, where nothing has to be sent again."""
MOST_LONG = 1
"""So many jobs that may take minutes are with the workers at once: one worker more, and calls never wait for them."""


def free(now: datetime) -> Q:
    """Return the condition of a row under no lease; one that ends far too late is of before the clock was set back."""
    return Q(lease_until=None) | Q(lease_until__lte=now) | Q(lease_until__gt=now + LEASE + CLOCK_SLACK)


def waiting(now: datetime) -> QuerySet[Job]:
    """Return the jobs that are due and not under a lease."""
    return Job.objects.filter(free(now), finished_at=None, dead_at=None, due_at__lte=now).order_by("due_at", "pk")


def of_lane(rows: QuerySet[Job], lane: Lane) -> QuerySet[Job]:
    """Return the jobs that a runner of this lane takes."""
    if lane is Lane.LONG:
        return rows.filter(kind__in=LONG)
    return rows.exclude(kind__in=LONG) if lane is Lane.QUICK else rows


def claim(owner: str, *, now: datetime, lane: Lane = Lane.ALL) -> Job | None:
    """Take the job of a lane that is due longest. Nobody else gets it until the lease runs out."""
    rows = of_lane(waiting(now), lane)
    if not rows.exists():
        return None
    with transaction.atomic():
        job = _due_longest(rows, now)
        return job and _lease(job, owner, now=now)


def claim_to_send(owner: str, *, now: datetime) -> Job | None:
    """Take the job that is due longest for a broker. It is sent again if no worker takes it before the lease runs out."""
    at_work = Job.objects.filter(finished_at=None, dead_at=None).exclude(free(now))
    crowded = at_work.filter(kind__in=LONG).count() >= MOST_LONG
    rows = of_lane(waiting(now), Lane.QUICK if crowded else Lane.ALL)
    if not rows.exists() or at_work.filter(lease_owner__startswith=SENT).count() >= MOST_SENT:
        return None
    with transaction.atomic():
        job = _due_longest(rows, now)
        if job is not None:
            job.lease_owner, job.lease_until = f"{SENT}{owner}", now + LEASE
            job.save(update_fields=["lease_owner", "lease_until"])
        return job


def take(pk: int, owner: str, *, now: datetime) -> Job | None:
    """Take the job that a message names; nothing if it is done, not due yet, or at work under another's lease."""
    open_to_all = free(now) | Q(lease_owner__startswith=SENT)
    rows = Job.objects.select_for_update().filter(open_to_all, pk=pk, finished_at=None, dead_at=None, due_at__lte=now)
    with transaction.atomic():
        job = _tried_too_often(rows.first(), now=now)
        return job and _lease(job, owner, now=now)


def release(job: Job) -> None:
    """Give back a row that could not be sent."""
    held(job).update(lease_until=None)


def _due_longest(rows: QuerySet[Job], now: datetime) -> Job | None:
    if connection.features.has_select_for_update_skip_locked:
        rows = rows.select_for_update(skip_locked=True)
    return _tried_too_often(rows.first(), now=now)


def _tried_too_often(job: Job | None, *, now: datetime) -> Job | None:
    """Return the job, unless its runner fell in the last try it had."""
    if job is not None and job.tries >= MOST_TRIES:
        _bury(job, f"The runner stopped in the middle of try {job.tries}.", now=now)
        return None
    return job


def claim_this(job: Job, owner: str, *, now: datetime) -> Job | None:
    """Take one job by hand, whether it is due or not; nothing if it is done or under a lease."""
    with transaction.atomic():
        found = Job.objects.select_for_update().filter(free(now), pk=job.pk, finished_at=None, dead_at=None).first()
        return found and _lease(found, owner, now=now)


def _lease(job: Job, owner: str, *, now: datetime) -> Job:
    job.tries += 1
    job.lease_owner = owner
    job.lease_until = now + LEASE
    job.save(update_fields=["tries", "lease_owner", "lease_until"])
    return job


def _bury(job: Job, error: str, *, now: datetime) -> None:
    job.dead_at = now
    job.error = job.error or error
    job.lease_until = None
    job.save(update_fields=["dead_at", "error", "lease_until"])


def held(job: Job) -> QuerySet[Job]:
    """Return the row only while this very claim still stands."""
    return Job.objects.filter(pk=job.pk, lease_owner=job.lease_owner, tries=job.tries, finished_at=None, dead_at=None)


def renew(job: Job, *, now: datetime) -> bool:
    """Lengthen the lease of a running job. Return whether it was still ours."""
    return bool(held(job).update(lease_until=now + LEASE))


def run(job: Job, *, clock: Callable[[], datetime]) -> bool:
    """Run a claimed job and store how it ended. Return whether it ended well.

    What a task raises is kept with the job, never raised here.
    """
    task = KINDS.get(job.kind)
    if task is None:
        _failed(job, f"This version of the program knows no job of the kind {job.kind!r}.", now=clock())
        return False
    done = task.apply(kwargs=job.arguments, task_id=f"job-{job.pk}-{job.tries}")
    if done.successful():
        held(job).update(finished_at=clock(), lease_until=None, outcome=str(done.result or "")[:500], error="")
        return True
    _failed(job, str(done.traceback), now=clock())
    return False


def _failed(job: Job, error: str, *, now: datetime) -> None:
    """Store the error, and when to try again; after the last try the job is dead."""
    if job.tries >= MOST_TRIES:
        held(job).update(dead_at=now, lease_until=None, error=error)
    else:
        held(job).update(due_at=now + pause_after(job.tries), lease_until=None, error=error)


def pause_after(tries: int) -> timedelta:
    """Return how long to wait after the given number of failed tries.

    >>> [pause_after(tries).seconds for tries in (1, 2, 3, 4, 5)]
    [10, 40, 160, 640, 2560]
    """
    factor: int = PAUSE_FACTOR ** (tries - 1)
    return min(FIRST_PAUSE * factor, LONGEST_PAUSE)


def beat(name: str, *, started_at: datetime, now: datetime) -> None:
    """Note that the runner is alive."""
    Heartbeat.objects.update_or_create(name=name, defaults={"beat_at": now, "started_at": started_at})
