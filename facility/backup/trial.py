"""Trying a backup: put back into a scratch folder by a program of its own, the result kept as an event."""

from __future__ import annotations

import os
import secrets
import shutil
import subprocess
import sys
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from django.conf import settings
from django.db import transaction
from django.utils.translation import gettext as _

from facility import events

if TYPE_CHECKING:
    from pathlib import Path

    from facility.backup.keys import Key

SCRATCH: Final = "trial-"
#: settings that would lead the trial to the running installation
NOT_HANDED_ON: Final = (
    "DEEPSTEAD_DATABASE_URL", "DEEPSTEAD_DATABASE_URL_FILE", "DEEPSTEAD_BROKER_URL", "DEEPSTEAD_BROKER_URL_FILE",
    "DEEPSTEAD_BACKUP_COPY", "DJANGO_SETTINGS_MODULE",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Tried:
    """How a trial ended: the last line of the restore, or why it failed."""

    well: bool
    told: str


def tried(path: Path, key: Key, *, by: events.Actor) -> Tried:
    """Restore a backup into a SQLite file in a scratch folder, check the records, and record the result.

    The running installation's own records are not touched.
    """
    for left in settings.DATA_DIR.glob(f"{SCRATCH}*"):
        shutil.rmtree(left, ignore_errors=True)
    folder = settings.DATA_DIR / f"{SCRATCH}{secrets.token_hex(6)}"
    folder.mkdir(mode=0o700)
    try:
        found = _run(path, key, folder)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    after = {
        "file": path.name,
        "key": key.number.hex(),
        "result": _("restored") if found.well else _("failed"),
        "told": found.told,
    }
    with transaction.atomic():
        events.record(None, events.What("backup:tried", after=after), by=by)
    return found


def _run(path: Path, key: Key, folder: Path) -> Tried:
    environment = {name: value for name, value in os.environ.items() if name not in NOT_HANDED_ON}
    environment["DEEPSTEAD_DATA"] = str(folder)
    done = subprocess.run(  # noqa: S603 - our own command line
        [sys.executable, str(settings.BASE_DIR / "manage.py"), "restore", str(path.resolve()), "--key", "-"],
        env=environment, input=key.words, capture_output=True, text=True, check=False, cwd=settings.BASE_DIR,
    )  # fmt: skip
    lines = (done.stderr if done.returncode else done.stdout).strip().splitlines()
    return Tried(
        done.returncode == 0, lines[-1] if lines else _("it ended with code %(code)d") % {"code": done.returncode}
    )
