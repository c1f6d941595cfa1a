"""What is reckoned again and again of a thousand chambers: whether readiness changed, and the answers that are kept.

Limits of time: a tenth of the pause between two turns, a design goal of this project; common practice, no source. That
of the monitor's numbers is how long Prometheus waits by default (prometheus.io/docs, configuration, scrape_timeout).
Times are this process's own, so one core of two. Sites are those of the bench of the daily look.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING
from unittest.mock import patch

from facility import events
from facility.compute.fleet import SHOWN_FOR
from facility.fleet.refreshing import RENEWED_BEFORE, refresh
from facility.health import exposition, measures
from facility.jobs.giving_way import SLICE_S
from facility.jobs.loop import Loop
from facility.jobs.queue import Every, Kind, Lane, enqueue
from facility.models import FleetState, Job, Told
from facility.notices import watch
from facility.project.bench.result import Result
from facility.project.bench.scratch import AT, scratch_database
from facility.project.bench.scratch_copies import alike
from facility.project.bench.sweep import SITE, most_mb, seconds_of
from facility.project.schedule import DAILY

if TYPE_CHECKING:
    from contextlib import AbstractContextManager

MANY, FEW = 1000, 100
SHARE, MEMORY_LIMIT, SCRAPE_LIMIT_S = 0.1, 1.2, 10.0
WAIT_LIMIT_S = 2 * SLICE_S
"""A slice ends with the batch in which its time was up; a design goal of this project, no source."""


@dataclass(frozen=True, slots=True)
class Figures:
    """Seconds of the whole number of chambers, of each slice in turn, and the most memory held in MB."""

    watch_s: list[float]
    renew_s: list[float]
    scrape_s: float
    few_mb: float
    many_mb: float


def watch_time() -> Result:
    """The look whether readiness changed, when nothing has; against a tenth of the pause until the next look."""
    (minutes,) = (one.minutes for one in DAILY if isinstance(one, Every) and one.kind == Kind.WATCH_READINESS)
    return Result("look whether readiness of 1000 chambers changed", sum(measured().watch_s), SHARE * 60 * minutes, "s")


def renew_time() -> Result:
    """All kept answers reckoned anew; against a tenth of the time after which that is due."""
    limit = SHARE * (SHOWN_FOR - RENEWED_BEFORE).total_seconds()
    return Result("kept answers of 1000 chambers renewed", sum(measured().renew_s), limit, "s")


def longest_wait() -> Result:
    """The longest time in which a single runner is at neither pass for another job: its longest slice of the two."""
    found = measured()
    slices = [*found.watch_s, *found.renew_s]
    note = f"{len(slices)} slices, {sum(slices):.1f} s in one piece"
    return Result("wait of another job behind both, 1000 chambers", max(slices), WAIT_LIMIT_S, "s", note)


def memory() -> Result:
    """The most memory that either of them held over 1 000 chambers, against 100."""
    found = measured()
    note = f"{found.few_mb:.0f} MB, {found.many_mb:.0f} MB"
    return Result(
        "memory of both, 1000 chambers against 100", found.many_mb / found.few_mb, MEMORY_LIMIT, "times", note
    )


def scrape_time() -> Result:
    """The numbers for a monitor, all answers kept."""
    return Result("numbers for a monitor over 1000 chambers", measured().scrape_s, SCRAPE_LIMIT_S, "s")


@lru_cache
def measured(few: int = FEW, many: int = MANY) -> Figures:
    """Store chambers, and look at them and renew their answers as the jobs do."""
    with scratch_database(), _still():
        alike(few, SITE)
        few_mb = most_mb(_both)  # before anything larger was held: what is given back may stay with the process
    with scratch_database(), _still():
        alike(many, SITE)
        many_mb = most_mb(_both)
        watch_s = _slices(Kind.WATCH_READINESS)
        FleetState.objects.all().delete()
        renew_s = _slices(Kind.REFRESH_FLEET)
        scrape_s = seconds_of(lambda: exposition.written(measures.measures(AT)))
        if not Told.objects.count() == FleetState.objects.count() == many:
            raise RuntimeError(f"Not all of {many} chambers were looked at.")
    return Figures(watch_s, renew_s, scrape_s, few_mb, many_mb)


def _slices(kind: Kind) -> list[float]:
    """Run a pass as the runner does, and return the seconds of each of its rows."""
    enqueue(kind)
    loop, found = Loop([], clock=events.now, lane=Lane.QUICK), []
    while Job.objects.filter(finished_at=None).exists():
        found.append(seconds_of(loop.turn))
        if wrong := Job.objects.exclude(error="").first():
            raise RuntimeError(f"A slice did not end well: {wrong.error}")
    return found


def _both() -> None:
    watch.look(AT)
    refresh()


def _still() -> AbstractContextManager[object]:
    return patch.object(events, "now", lambda: AT)
