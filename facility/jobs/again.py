"""What a person asks of the jobs: run a dead one again, or a scheduled one now. Both are events with a name."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction

from facility import events
from facility.jobs.queue import enqueue
from facility.models import Job

if TYPE_CHECKING:
    from facility.jobs.queue import Kind


def run_again(pk: int, *, by: events.Actor) -> bool:
    """Let a dead job be due now with all its tries; its last error stays until it ends well.

    Return False if it is not dead (any more): of several who ask at once one is told True, and one event is stored.
    """
    with transaction.atomic():
        revived = Job.objects.filter(pk=pk, finished_at=None, dead_at__isnull=False).update(
            dead_at=None, tries=0, due_at=events.now(), lease_until=None, lease_owner="", progress=""
        )
        if revived:
            kind = Job.objects.values_list("kind", flat=True).get(pk=pk)
            events.record(None, events.What("job:again", after={"job": str(pk), "kind": kind}), by=by)
    return bool(revived)


def run_now(kind: Kind, *, by: events.Actor) -> bool:
    """Store a job of a kind that needs no arguments. Return False if one waits or runs already: that will do."""
    with transaction.atomic():
        if Job.objects.filter(kind=kind, finished_at=None, dead_at=None).exists():
            return False
        enqueue(kind)
        events.record(None, events.What("job:asked", after={"kind": kind.value}), by=by)
    return True
