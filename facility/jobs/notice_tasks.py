"""The code of the jobs that make notices. Each returns one sentence on what it did, and does nothing new if run twice."""

from __future__ import annotations

from typing import Any

from celery import Task, shared_task

from facility import events
from facility.jobs.giving_way import Slice, go_on
from facility.jobs.queue import Kind
from facility.notices import acting, box, calling, digest, escalate, watch


@shared_task(name="watch_readiness", bind=True)
def watch_readiness(self: Task[..., Any], after: int = 0) -> str:
    """Tell what changed in readiness since people were last told, and what will within the lead time, in slices."""
    told, rest = watch.look_some(events.now(), after=after, enough=Slice().is_over)
    go_on(Kind.WATCH_READINESS, self.request.id, rest)
    return told


@shared_task(name="digests")
def digests() -> str:
    """Make today's digest of everybody whose hour has come, and count what was acted on."""
    now = events.now()
    return f"{digest.make(now)} {acting.settle(now)} more counted as acted on."


@shared_task(name="escalate")
def raise_unanswered() -> str:
    """Tell the next circle what nobody has acknowledged in time."""
    return escalate.run(events.now())


@shared_task(name="tell_call_out")
def tell_call_out(call: int) -> str:
    """Tell everybody who was asked to come and has an account."""
    return calling.tell(call, events.now())


@shared_task(name="watch_box")
def watch_box() -> str:
    """Tell first accounts and directors what the box itself needs somebody for."""
    return box.look(events.now())


#: by the text that a job row holds
KINDS: dict[str, Task[..., Any]] = {
    Kind.WATCH_READINESS: watch_readiness,
    Kind.DIGESTS: digests,
    Kind.ESCALATE: raise_unanswered,
    Kind.TELL_CALL_OUT: tell_call_out,
    Kind.WATCH_BOX: watch_box,
}
