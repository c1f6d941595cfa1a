"""The backups of this box: what there is, how old, where else it lies, and whether it was tried. First accounts only."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Final

from django.conf import settings
from django.contrib import messages
from django.db import transaction
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_POST, require_safe

from facility import events
from facility.backup import copies, keys, store, trial
from facility.backup.faults import BackupError
from facility.box.first import first_account
from facility.health.keeping import BACKUP_LATE
from facility.http import actor_of
from facility.jobs.queue import Kind, enqueue
from facility.models import Event, Job

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from django.http import HttpResponse

    from facility.http import StaffRequest

TRIED_LATE: Final = timedelta(days=14)
SHOWN: Final = 60
ASKED: Final = {"make": Kind.BACKUP, "try": Kind.TRY_BACKUP}
WORDS: Final = {
    Kind.BACKUP: gettext_lazy("A backup is being made"),
    Kind.TRY_BACKUP: gettext_lazy("The newest backup is being tried"),
    Kind.COPY_BACKUP: gettext_lazy("A copy is to be made"),
}


@dataclass(frozen=True, slots=True)
class Line:
    """One file: when it was made, its size in bytes, and the places that have a copy."""

    name: str
    made_at: datetime
    size: int
    taken: tuple[str, ...]
    before_upgrade: bool


@dataclass(frozen=True, slots=True)
class Trial:
    """The newest trial as its event tells it; ``genuine``: signed by the key that it names."""

    at: datetime
    told: Mapping[str, str]
    genuine: bool
    late: bool


@require_safe
def backups(request: StaffRequest) -> HttpResponse:
    """Show the backups and what can be asked for."""
    first_account(request)
    at = events.now()
    lines = _lines()
    age = store.newest_age(at)
    return render(request, "box/backups.html", {
        "lines": lines[:SHOWN], "more": len(lines) - SHOWN, "newest_at": None if age is None else at - age, "late": age is None or age > BACKUP_LATE, "at": at,
        "places": [(place, place not in copies.lacking()) for place in copies.places()], "trial": _trial(at),
        "under_way": _under_way(), "key": _key_number(), "folder": store.folder(),
    })  # fmt: skip


@require_POST
def ask(request: StaffRequest) -> HttpResponse:
    """Let a job make or try a backup now; one that waits or runs already is enough."""
    first_account(request)
    kind = ASKED.get(request.POST.get("what", ""))
    if kind is None:
        messages.error(request, _("Choose what is to be done: a backup, or a trial of the newest."))
        return redirect("box:backups")
    if Job.objects.filter(kind=kind, finished_at=None, dead_at=None).exists():
        messages.info(request, _("That waits or runs already; this page tells how it ends."))
        return redirect("box:backups")
    with transaction.atomic():
        enqueue(kind)
        events.record(None, events.What("backup:asked", after={"what": kind.value}), by=actor_of(request))
    messages.success(request, _("It is done in the background; load this page again after a while."))
    return redirect("box:backups")


def _lines() -> list[Line]:
    """Return the files of the folder, newest first, and those made before upgrades."""
    folder, known = store.folder(), copies.known()
    upgrades = [found for place in folder.glob("before-upgrade-*") for found in store.found(place)]
    lines = [_line(path, at, known, before_upgrade=False) for at, path in store.found(folder)]
    lines += [_line(path, at, known, before_upgrade=True) for at, path in upgrades]
    return sorted(lines, key=lambda line: line.made_at, reverse=True)


def _line(path: Path, at: datetime, known: Mapping[str, Mapping[str, object]], *, before_upgrade: bool) -> Line:
    row = known.get(path.name, {})
    taken = tuple(sorted(place for place, told in row.items() if isinstance(told, dict) and copies.TAKEN in told))
    return Line(path.name, at, path.stat().st_size, taken, before_upgrade)


def _trial(at: datetime) -> Trial | None:
    newest = Event.objects.filter(action="backup:tried").order_by("-seq").first()
    if newest is None:
        return None
    told = json.loads(newest.payload)["after"]
    return Trial(newest.recorded_at, told, trial.is_genuine(told), late=at - newest.recorded_at > TRIED_LATE)


def _under_way() -> list[tuple[str, str]]:
    jobs = Job.objects.filter(kind__in=list(WORDS), finished_at=None).order_by("due_at")
    return [(str(WORDS[Kind(job.kind)]), _state_of(job)) for job in jobs]


def _state_of(job: Job) -> str:
    if job.dead_at is not None:
        return _("given up: %(error)s") % {"error": job.error.strip().splitlines()[-1] if job.error else "?"}
    if job.lease_until is not None:
        return job.progress or _("begun")
    return _("waits")


def _key_number() -> str:
    try:
        key = keys.of_folder(settings.DATA_DIR)
    except BackupError as error:
        return str(error)
    return key.number.hex() if key is not None else ""
