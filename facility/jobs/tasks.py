"""The code of each kind of job, as Celery tasks. Each returns one sentence on what it did."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from celery import Task, shared_task
from django.contrib.sessions.models import Session
from django.db.models import Q

from facility import events, record_check
from facility.backup import scheduled
from facility.counted import counted
from facility.imports import taking, waiting
from facility.jobs.fleet_tasks import KINDS as OF_FLEET
from facility.jobs.notice_tasks import KINDS as OF_NOTICES
from facility.jobs.progress import telling
from facility.jobs.queue import Kind, enqueue
from facility.models import Job
from facility.notices import sending
from facility.pack import services as packing
from facility.pack import tidying, uploads
from facility.report import nightly
from facility.sweep import looking
from facility.trust import copies as heads

KEEP_FINISHED = timedelta(days=30)
KEEP_DEAD = timedelta(days=180)


@shared_task(name="tidy")
def tidy() -> str:
    """Remove jobs done long ago, sessions that have run out, and what packs left behind. Records are never removed."""
    now = events.now()
    old = Job.objects.filter(Q(finished_at__lt=now - KEEP_FINISHED) | Q(dead_at__lt=now - KEEP_DEAD))
    jobs = old.delete()[0]
    sessions = Session.objects.filter(expire_date__lt=now).delete()[0]
    packs, files = tidying.tidy(), waiting.tidy()
    return (
        f"Removed {counted(jobs, 'old job', 'old jobs')} and {counted(sessions, 'session', 'sessions')} that had run out."
        f" {packs} Removed {counted(files, 'file', 'files')} left by uploads of imports."
    )


@shared_task(name="sweep")
def sweep() -> str:
    """Flag what became due soon, overdue or lapsed, and which plans will not be ready."""
    return looking.sweep(events.now())


@shared_task(name="verify_records")
def verify_records() -> str:
    """Verify the whole event log; the verdict is an event of its own."""
    verdict = record_check.verify_and_record(by=events.system("verify_records"))
    if not verdict.ok:
        return f"Fault found: {verdict.first_fault}"
    return f"{counted(verdict.count, 'event', 'events')} verified; the newest ends in {verdict.head_hex[-12:]}."


@shared_task(name="backup", bind=True)
def backup(self: Task[..., Any]) -> str:
    """Make the day's backup, copy it to the second place, remove old ones. A second run makes a second file."""
    return scheduled.run(telling(self.request.id))


@shared_task(name="copy_backup", bind=True)
def copy_backup(self: Task[..., Any], file: str, number: int) -> str:
    """Take a backup to the places that could not be reached; what is there already is not taken again."""
    return scheduled.copy_again(file, number, telling(self.request.id))


@shared_task(name="try_backup", bind=True)
def try_backup(self: Task[..., Any]) -> str:
    """Try whether the newest backup can be put back; the signed result is an event."""
    return scheduled.try_newest(telling(self.request.id))


@shared_task(name="build_pack", bind=True)
def build_pack(self: Task[..., Any], pack: int) -> str:
    """Build a pack that was asked for; one that lies there already is not built again."""
    built = packing.build(pack, by=events.system("build_pack"), say=telling(self.request.id))
    return f"Pack {built.number}: {built.size_bytes} bytes, SHA-256 {built.sha256}."


@shared_task(name="check_pack")
def check_pack(token: str) -> str:
    """Verify a file that was sent to be verified."""
    return uploads.look(token)


@shared_task(name="checkpoint")
def checkpoint(why: str = "") -> str:
    """Sign the head of the log; at night, without ``why``, hold it against all earlier heads first and mail it."""
    return heads.run(why)


@shared_task(name="send_notices", bind=True)
def send_notices(self: Task[..., Any]) -> str:
    """Send the notices that wait; a message that was cut off is sent again under the same name."""
    return sending.run(telling(self.request.id))


@shared_task(name="render_volumes", bind=True)
def render_volumes(self: Task[..., Any]) -> str:
    """Press and seal the months that are over, as packs will need them; what lies there already is left."""
    told = nightly.render(telling(self.request.id), _somebody_waits)
    if _somebody_waits():
        enqueue(Kind.RENDER_VOLUMES)
    return told


def _somebody_waits() -> bool:
    """Return whether a long job is due that a person has asked for."""
    asked_for = (Kind.BUILD_PACK, Kind.CHECK_PACK, Kind.IMPORT)
    due = Job.objects.filter(kind__in=asked_for, finished_at=None, dead_at=None, lease_until=None)
    return due.filter(due_at__lte=events.now()).exists()


@shared_task(name="import", bind=True)
def import_files(self: Task[..., Any], token: str, way: str, who: dict[str, Any]) -> str:
    """Take uploaded files in, in the name of the person who asked; a second run finds it done."""
    return taking.run(taking.Asked(token, taking.Way(way), **who), telling(self.request.id))


#: by the text that a job row holds
KINDS: dict[str, Task[..., Any]] = {
    **OF_NOTICES,
    **OF_FLEET,
    Kind.TIDY: tidy,
    Kind.SWEEP: sweep,
    Kind.BACKUP: backup,
    Kind.COPY_BACKUP: copy_backup,
    Kind.TRY_BACKUP: try_backup,
    Kind.VERIFY_RECORDS: verify_records,
    Kind.BUILD_PACK: build_pack,
    Kind.CHECK_PACK: check_pack,
    Kind.RENDER_VOLUMES: render_volumes,
    Kind.CHECKPOINT: checkpoint,
    Kind.SEND_NOTICES: send_notices,
    Kind.IMPORT: import_files,
}
