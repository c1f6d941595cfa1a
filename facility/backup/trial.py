"""Trying a backup: put back into a scratch folder by a program of its own, the result signed and kept as an event.

There every table is compared with the manifest, the records are checked, the readiness of every
chamber is computed and a report of every site is built. The result is signed with this box's key,
so that it can be shown to somebody who does not trust the database it lies in.
"""

from __future__ import annotations

import json
import os
import secrets
import shutil
import subprocess
import sys
import tempfile
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from django.conf import settings
from django.db import transaction
from django.utils.translation import gettext as _

from facility import box_key, events

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from pathlib import Path

    from facility.backup.keys import Key

SCRATCH: Final = "trial-"
LABEL: Final = b"deepstead trial v1"
PROVED: Final = "Proved: "
SIGNED: Final = ("at", "file", "key", "report", "result", "told")
#: settings that would lead the trial to the running installation
NOT_HANDED_ON: Final = (
    "DEEPSTEAD_DATABASE_URL", "DEEPSTEAD_DATABASE_URL_FILE", "DEEPSTEAD_BROKER_URL", "DEEPSTEAD_BROKER_URL_FILE",
    "DEEPSTEAD_BACKUP_COPY", "DEEPSTEAD_BACKUP_COMMAND", "DJANGO_SETTINGS_MODULE",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Tried:
    """How a trial ended: the last line of the restore, or why it failed."""

    well: bool
    told: str
    report: str = ""


def tried(path: Path, key: Key, *, by: events.Actor, say: Callable[[str], object] = str) -> Tried:
    """Restore a backup into a SQLite file in a scratch folder, check the records, and record the result.

    ``say`` hears how far it is. The running installation's own records are not touched.
    """
    for left in settings.DATA_DIR.glob(f"{SCRATCH}*"):
        shutil.rmtree(left, ignore_errors=True)
    folder = settings.DATA_DIR / f"{SCRATCH}{secrets.token_hex(6)}"
    folder.mkdir(mode=0o700)
    try:
        found = _run(path, key, folder, say)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    after = signed({
        "at": events.now().isoformat(),
        "file": path.name,
        "key": key.number.hex(),
        "report": found.report,
        "result": "restored" if found.well else "failed",
        "told": found.told,
    })  # fmt: skip
    with transaction.atomic():
        events.record(None, events.What("backup:tried", after=after), by=by)
    return found


def statement(after: Mapping[str, str]) -> bytes:
    """Return the bytes that are signed: the result as JSON, its keys sorted, without spaces."""
    told = {name: after[name] for name in SIGNED}
    return json.dumps(told, ensure_ascii=False, sort_keys=True, separators=(",", ":")).encode()


def signed(after: Mapping[str, str]) -> dict[str, str]:
    """Return a result with this box's signature and public key, as hexadecimal digits."""
    signature = box_key.sign(LABEL, statement(after))
    return {**after, "signature": signature.hex(), "public_key": box_key.public_key().hex()}


def is_genuine(after: Mapping[str, str]) -> bool:
    """Return whether a result is what the key named in it has signed; whose key that is, the reader must know."""
    try:
        signature, public = bytes.fromhex(after["signature"]), bytes.fromhex(after["public_key"])
        return box_key.is_signed(LABEL, statement(after), signature, public)
    except (KeyError, ValueError):
        return False


def _run(path: Path, key: Key, folder: Path, say: Callable[[str], object]) -> Tried:
    environment = {name: value for name, value in os.environ.items() if name not in NOT_HANDED_ON}
    environment["DEEPSTEAD_DATA"] = str(folder)
    manage = str(settings.BASE_DIR / "manage.py")
    with (
        tempfile.TemporaryFile("w+", encoding="utf-8") as out,
        subprocess.Popen(  # noqa: S603 - our own command line
            [sys.executable, manage, "restore", str(path.resolve()), "--key", "-", "--prove", "--verbosity", "2"],
            env=environment, stdin=subprocess.PIPE, stdout=out, stderr=subprocess.PIPE, text=True, cwd=settings.BASE_DIR,
        ) as process,
    ):  # fmt: skip
        said = _said(process, key, say)
        process.wait()
        out.seek(0)
        printed = out.read().strip().splitlines()
    lines = said if process.returncode else printed
    report = next((line.removeprefix(PROVED) for line in lines if line.startswith(PROVED)), "")
    told = lines[-1] if lines else _("it ended with code %(code)d") % {"code": process.returncode}
    return Tried(process.returncode == 0, told, report)


def _said(process: subprocess.Popen[str], key: Key, say: Callable[[str], object]) -> list[str]:
    """Hand the key over and pass on what the restore says, until it says no more."""
    if process.stdin is None or process.stderr is None:
        raise RuntimeError("The restore was started without pipes to it.")
    with process.stdin, suppress(BrokenPipeError):
        process.stdin.write(key.words)
    lines = []
    for line in process.stderr:
        if line.strip():
            lines.append(line.strip())
            say(lines[-1])
    return lines
