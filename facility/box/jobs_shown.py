"""What the page of the jobs shows: rows of the job table, told in words. Five queries, however many jobs there are."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Final

from django.conf import settings
from django.db.models import F, Window
from django.db.models.functions import RowNumber
from django.utils.module_loading import import_string
from django.utils.translation import gettext as _

from facility import events
from facility.counted import counted
from facility.health import pulse
from facility.health.parts import SCHEDULER, SCHEDULER_LATE, SENT
from facility.jobs.absence import WAS_OFF
from facility.jobs.queue import Daily, Every
from facility.jobs.words import words_of
from facility.models import Event, Heartbeat, Job

if TYPE_CHECKING:
    from collections.abc import Sequence

SHOWN: Final = 40
"""So many rows of each sort are listed; the others are counted."""
FORGOTTEN: Final = timedelta(days=7)
"""A runner that was not seen for so long is listed only if none was seen since; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Line:
    """One job: what it is, how it stands, and its error: the last line, and all of it."""

    pk: int
    what: str
    state: str
    last_line: str
    error: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Planned:
    """One scheduled kind: when it last ended well and how, and when it is due next."""

    kind: str
    what: str
    last: datetime | None
    outcome: str
    next_due: datetime


@dataclass(frozen=True, slots=True)
class Runner:
    """One runner: ``state`` is seen, silent, or ahead (its last beat lies after what the clock shows now)."""

    name: str
    beat_at: datetime
    started_at: datetime
    state: str


@dataclass(frozen=True, slots=True)
class Sign:
    """The sign of life to the outside: when one got out last, when one was tried, and why none does."""

    well_at: datetime | None
    tried_at: datetime | None
    failures: int
    error: str
    held_back: str


@dataclass(frozen=True, slots=True)
class Shown:
    """All that the page tells."""

    running: list[Line]
    waiting: list[Line]
    more_waiting: int
    dead: list[Line]
    more_dead: int
    planned: list[Planned]
    runners: list[Runner]
    off: list[str]
    sign: Sign | None


def plan() -> Sequence[Daily | Every]:
    """Return the schedule that the settings name."""
    found: Sequence[Daily | Every] = import_string(settings.JOB_PLAN)
    return found


def shown(at: datetime) -> Shown:
    """Return how the jobs stand."""
    open_now = list(Job.objects.filter(finished_at=None, dead_at=None).order_by("due_at", "pk")[: 10 * SHOWN])
    dead = list(Job.objects.filter(finished_at=None, dead_at__isnull=False).order_by("-dead_at", "-pk")[: 10 * SHOWN])
    running = [job for job in open_now if is_running(job, at)]
    waiting = [job for job in open_now if not is_running(job, at)]
    return Shown(
        running=[line(job, at) for job in running], waiting=[line(job, at) for job in waiting[:SHOWN]],
        more_waiting=max(0, len(waiting) - SHOWN), dead=[line(job, at) for job in dead[:SHOWN]],
        more_dead=max(0, len(dead) - SHOWN), planned=planned(at), runners=runners(at), off=off_spans(),
        sign=sign(),
    )  # fmt: skip


def is_running(job: Job, at: datetime) -> bool:
    """Return whether somebody works on a job now: under a lease that stands, and not only sent to a broker."""
    return job.lease_until is not None and job.lease_until > at and not job.lease_owner.startswith(SENT)


def line(job: Job, at: datetime) -> Line:
    """Return one job as the page tells it."""
    last = job.error.strip().splitlines()[-1] if job.error.strip() else ""
    return Line(job.pk, words_of(job.kind), state_of(job, at), last, job.error.strip(), job.dead_at or job.due_at)


def state_of(job: Job, at: datetime) -> str:
    """Say how a job stands."""
    if job.dead_at is not None:
        return _("given up after %(tries)s") % {"tries": counted(job.tries, "try", "tries")}
    if is_running(job, at):
        return job.progress or _("begun; it tells nothing yet")
    if job.lease_until is not None and job.lease_until > at:
        return _("sent to the workers")
    if job.tries and job.error:
        return _("try %(tries)d went wrong; it is tried again") % {"tries": job.tries}
    if job.tries:
        return _("was interrupted; it is taken up again")
    return _("waits") if job.due_at <= at else _("not due yet")


def planned(at: datetime) -> list[Planned]:
    """Return the scheduled kinds, the one that is due next first."""
    entries = plan()
    place = Window(RowNumber(), partition_by=[F("kind")], order_by=[F("finished_at").desc(), F("pk").desc()])
    ended = Job.objects.filter(finished_at__isnull=False, kind__in={entry.kind for entry in entries})
    newest = {job.kind: job for job in ended.annotate(place=place).filter(place=1)}
    found = []
    for entry in entries:
        job = newest.get(entry.kind)
        last, outcome = (job.finished_at, job.outcome) if job else (None, "")
        found.append(Planned(entry.kind, words_of(entry.kind), last, outcome, next_due(entry, at)))
    return sorted(found, key=lambda one: one.next_due)


def next_due(entry: Daily | Every, at: datetime) -> datetime:
    """Return when a scheduled kind is due next after an instant.

    >>> from datetime import time
    >>> from facility.jobs.queue import Kind
    >>> str(next_due(Daily(Kind.TIDY, at=time(2, 30)), datetime(2030, 5, 4, 2, 30, tzinfo=UTC)))
    '2030-05-05 02:30:00+00:00'
    >>> str(next_due(Every(Kind.TIDY, minutes=5), datetime(2030, 5, 4, 23, 57, tzinfo=UTC)))
    '2030-05-05 00:00:00+00:00'
    """
    now = at.astimezone(UTC)
    midnight = now.replace(hour=0, minute=0, second=0, microsecond=0)
    if isinstance(entry, Every):
        span = timedelta(minutes=entry.minutes)
        return min(midnight + ((now - midnight) // span + 1) * span, midnight + timedelta(days=1))
    due = datetime.combine(now.date(), entry.at, tzinfo=UTC)
    while due <= now or entry.weekday not in (None, due.weekday()):
        due += timedelta(days=1)
    return due


def runners(at: datetime) -> list[Runner]:
    """Return the runners, the one that was seen last first."""
    beats = list(Heartbeat.objects.filter(name__startswith=SCHEDULER).order_by("-beat_at"))
    kept = [beat for beat in beats if beat.beat_at > at - FORGOTTEN] or beats[:1]
    return [Runner(beat.name.removeprefix(SCHEDULER), beat.beat_at, beat.started_at, _seen(beat, at)) for beat in kept]


def _seen(beat: Heartbeat, at: datetime) -> str:
    if beat.beat_at > at + events.CLOCK_SLACK:
        return "ahead"
    return "seen" if at - beat.beat_at <= SCHEDULER_LATE else "silent"


def sign() -> Sign | None:
    """Return how the signs of life stand, or None where no address is set for them."""
    if not settings.HEARTBEAT_URL:
        return None
    found = pulse.standing()
    well_at, tried_at = (datetime.fromisoformat(text) if text else None for text in (found.well_at, found.tried_at))
    return Sign(well_at, tried_at, found.failures, found.error, found.held_back)


def off_spans() -> list[str]:
    """Return from when to when the box was off, the last few times, as its events tell it."""
    found = Event.objects.filter(site_id_text="", action=WAS_OFF).order_by("-seq")
    return list(found.values_list("reason", flat=True)[:5])
