"""A long pass over many chambers in slices, so that no quicker job waits for the whole of it.

A slice ends after a few seconds, or as soon as another quick job is due, and the job stores the row that goes on.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from django.db.models import Q

from facility import events
from facility.jobs.progress import is_heard
from facility.jobs.queue import LONG, SENT, Kind, enqueue
from facility.models import Job

if TYPE_CHECKING:
    from datetime import datetime

PASSES: Final = frozenset({Kind.WATCH_READINESS, Kind.REFRESH_FLEET})
"""The jobs that go over all chambers in slices; one of them does not give way to the other."""
SLICE_S: Final = 5.0
"""A slice is not much longer than this. Units: s. A design choice, no source."""


class Slice:
    """One slice of a pass, from now on. By hand a pass is done in one: somebody waits for its end."""

    def __init__(self) -> None:
        self.begun_s = events.steady_seconds()

    def is_over(self) -> bool:
        """Return whether the pass is to go on in another row. One query."""
        if is_heard():
            return False
        return events.steady_seconds() - self.begun_s >= SLICE_S or somebody_waits(events.now())


def somebody_waits(at: datetime) -> bool:
    """Return whether a quick job other than a pass is due and nobody is at it. One query."""
    free = Q(lease_until=None) | Q(lease_until__lte=at) | Q(lease_owner__startswith=SENT)
    due = Job.objects.filter(free, finished_at=None, dead_at=None, due_at__lte=at)
    return due.exclude(kind__in=LONG | PASSES).exists()


def go_on(kind: Kind, task_id: str | None, after: int | None) -> Job | None:
    """Store the row that goes on behind number ``after``; nothing where the pass is at its end. Once for each row."""
    if after is None:
        return None
    found = re.fullmatch(r"job-(\d+)-\d+", task_id or "")
    return enqueue(kind, {"after": after}, once_key=f"{kind}:behind-job-{found[1]}" if found else None)
