"""Files that anybody may send to be verified: kept for a day, few an hour, the large ones looked at by a job."""

from __future__ import annotations

import hashlib
import json
import re
import secrets
import shutil
import zipfile
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from django.conf import settings
from django.utils.translation import gettext as _

from facility import events
from facility.jobs.queue import Kind, enqueue
from facility.pack import building, checking
from facility.pack.unpacking import MIB, Limits

if TYPE_CHECKING:
    from django.core.files.uploadedfile import UploadedFile

FOLDER: Final = ".to-verify"
KEPT: Final = timedelta(days=1)
HOUR: Final = timedelta(hours=1)
MOST_AN_HOUR: Final = 60
MOST_OF_ONE: Final = 12
MOST_BYTES: Final = 512 * MIB
AT_ONCE_BYTES: Final = 4 * MIB
AT_ONCE: Final = Limits(members=4000, unpacked=48 * MIB)
TOKEN: Final = re.compile(r"[0-9a-f]{8}-[0-9a-f]{32}")
UPLOAD, PIN, RESULT = "pack.zip", "fingerprint.txt", "result.json"


class TooManyError(ValueError):
    """More files in an hour than are looked at."""


def place() -> Path:
    """Return where they lie."""
    return building.folder() / FOLDER


def sender(address: str) -> str:
    """Return eight digits that stand for an address, so that none is kept."""
    return hashlib.sha256(f"{settings.SECRET_KEY}\0{address}".encode()).hexdigest()[:8]


def _made_at(folder: Path) -> datetime:
    return datetime.fromtimestamp(folder.stat().st_mtime, UTC)


def refuse_many(address: str) -> None:
    """Errors: TooManyError for more than 12 files of one address, or 60 of all, within an hour."""
    since = events.now() - HOUR
    recent = [one.name for one in _folders() if _made_at(one) > since]
    if len(recent) >= MOST_AN_HOUR or sum(name.startswith(sender(address)) for name in recent) >= MOST_OF_ONE:
        raise TooManyError(
            _(
                "Too many files were sent within the hour. Try again later, or open verify.html of the pack in a browser."
            )
        )


def take(upload: UploadedFile[Any], address: str, pin: str = "") -> str:
    """Keep a file and verify it, a large one by a job; return the token of its result. ``pin``: see ``checking.check``."""
    tidy()
    refuse_many(address)
    token = f"{sender(address)}-{secrets.token_hex(16)}"
    folder = place() / token
    folder.mkdir(parents=True, mode=0o700)
    with (folder / UPLOAD).open("xb") as file:
        for block in upload.chunks():
            file.write(block)
    (folder / PIN).write_text(pin, encoding="ascii")
    if (upload.size or 0) <= AT_ONCE_BYTES:
        look(token, AT_ONCE)
    if not (folder / RESULT).exists():
        enqueue(Kind.CHECK_PACK, {"token": token}, once_key=f"verify:{token}")
    return token


def look(token: str, limits: Limits | None = None) -> str:
    """Verify a file that was sent and keep the result in its place; a second call finds it done.

    With ``limits`` a zip that unpacks to more is left for the job.
    """
    folder = place() / token if TOKEN.fullmatch(token) else None
    if folder is None or not (folder / UPLOAD).is_file():
        return _("The file is no longer there.")
    if limits is not None and _unpacked(folder / UPLOAD) > limits.unpacked:
        return _("The file is left for the job.")
    outcome = checking.check(folder / UPLOAD, limits=limits, pin=(folder / PIN).read_text(encoding="ascii"))
    unfinished = folder / f"{RESULT}.unfinished"
    unfinished.write_text(json.dumps(outcome.as_json()), encoding="utf-8")
    unfinished.replace(folder / RESULT)
    (folder / UPLOAD).unlink()
    return _("A file that was sent was verified: %(code)d.") % {"code": outcome.code}


def _unpacked(path: Path) -> int:
    """Return the size that a zip says it unpacks to; 0 for what is none."""
    try:
        with zipfile.ZipFile(path) as archive:
            return sum(told.file_size for told in archive.infolist())
    except (zipfile.BadZipFile, OSError, NotImplementedError, ValueError):
        return 0


def result_of(token: str) -> checking.Outcome | None:
    """Return the result, or nothing while it is being looked at.

    Errors: LookupError if there is no such file.
    """
    folder = place() / token
    if not TOKEN.fullmatch(token) or not folder.is_dir():
        raise LookupError(token)
    path = folder / RESULT
    return checking.from_json(json.loads(path.read_text(encoding="utf-8"))) if path.is_file() else None


def tidy() -> int:
    """Remove what was sent more than a day ago; return how many."""
    old = [one for one in _folders() if events.now() - _made_at(one) > KEPT]
    for one in old:
        shutil.rmtree(one, ignore_errors=True)
    return len(old)


def _folders() -> list[Path]:
    return [one for one in place().iterdir() if one.is_dir()] if place().is_dir() else []
