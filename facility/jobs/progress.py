"""How far a long job is: one sentence in its row, for the page, and to whoever runs it by hand."""

from __future__ import annotations

import re
from contextlib import contextmanager
from contextvars import ContextVar
from typing import TYPE_CHECKING

from facility import events
from facility.models import Job

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

TELL_SECONDS = 1.0
LENGTH = 200
_hearing: ContextVar[Callable[[str], object] | None] = ContextVar("hearing", default=None)


@contextmanager
def heard_by(hear: Callable[[str], object]) -> Iterator[None]:
    """Let every sentence that a job tells in this thread be heard too, as on a command line."""
    token = _hearing.set(hear)
    try:
        yield
    finally:
        _hearing.reset(token)


def is_heard() -> bool:
    """Return whether a job runs by hand in this thread, and somebody waits for its end."""
    return _hearing.get() is not None


def telling(task_id: str | None) -> Callable[[str], object]:
    """Return what takes a task's sentences: into the job's row at most once a second, and to who hears them."""
    found = re.fullmatch(r"job-(\d+)-\d+", task_id or "")
    hear = _hearing.get()
    written_at: list[float] = []

    def tell(sentence: str) -> None:
        if hear is not None:
            hear(sentence)
        now = events.steady_seconds()
        if found and (not written_at or now - written_at[-1] >= TELL_SECONDS):
            written_at[:] = [now]
            Job.objects.filter(pk=int(found[1])).update(progress=sentence[:LENGTH])

    return tell
