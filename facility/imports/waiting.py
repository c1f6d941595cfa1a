"""Uploaded files and what became of them: kept in the data folder for a day, for their uploader alone.

Beside ``TOKEN.zip`` lie the report of each taking in, ``TOKEN-WAY.json``, and how far one is, ``TOKEN-WAY.txt``.
"""

from __future__ import annotations

import io
import json
import os
import re
import secrets
import time
import zipfile
from typing import TYPE_CHECKING, Any

from django.conf import settings

from facility.imports.folder import UnreadableError, read_zip
from facility.jobs.queue import Kind
from facility.models import Job

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

KEPT_SECONDS = 24 * 3600
_TOKEN = re.compile(r"[0-9a-f]{32}")
_WAY = re.compile(r"[a-z]{1,8}")


def _folder() -> Path:
    folder: Path = settings.DATA_DIR / "imports"
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    return folder


def _path(token: str, ending: str, way: str = "") -> Path:
    """Errors: LookupError for what is no token: it never becomes a path."""
    if _TOKEN.fullmatch(token) is None or (way and _WAY.fullmatch(way) is None):
        raise LookupError(token)
    return _folder() / (f"{token}-{way}.{ending}" if way else f"{token}.{ending}")


def keep(files: Mapping[str, bytes]) -> str:
    """Keep files and return the token that finds them again; what has waited too long goes."""
    tidy()
    token = secrets.token_hex(16)
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_STORED) as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    _write(_path(token, "zip"), buffer.getvalue())
    return token


def _write(path: Path, content: bytes) -> None:
    """Write a file whole or not at all."""
    unfinished = path.with_name(f"{path.name}.{secrets.token_hex(4)}.unfinished")
    with unfinished.open("xb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    unfinished.replace(path)


def fetch(token: str) -> dict[str, bytes] | None:
    """Return kept files, or None if there are none of that token any more."""
    try:
        return read_zip(_path(token, "zip").read_bytes())
    except (LookupError, FileNotFoundError, UnreadableError):
        return None


def are_there(token: str) -> bool:
    """Return whether the files of a token are still kept."""
    try:
        return _path(token, "zip").is_file()
    except LookupError:
        return False


def stay(token: str) -> None:
    """Let the day for which files are kept begin anew."""
    if are_there(token):
        os.utime(_path(token, "zip"))


def drop(token: str) -> None:
    """Let kept files go."""
    if are_there(token):
        _path(token, "zip").unlink(missing_ok=True)


def note_report(token: str, way: str, told: Mapping[str, Any]) -> None:
    """Keep the report of one taking in."""
    _write(_path(token, "json", way), json.dumps(told).encode())


def report_of(token: str, way: str) -> dict[str, Any] | None:
    """Return the kept report, None if it is not there (any more)."""
    try:
        told: dict[str, Any] = json.loads(_path(token, "json", way).read_bytes())
    except (LookupError, FileNotFoundError, ValueError):
        return None
    return told


def note_progress(token: str, way: str, sentence: str) -> None:
    """Keep how far it is: inside the transaction no row of the database could tell it to anybody else."""
    path = _path(token, "txt", way)
    unfinished = path.with_suffix(".unfinished")
    unfinished.write_text(sentence, encoding="utf-8")
    unfinished.replace(path)


def progress_of(token: str, way: str) -> str:
    """Return how far it is, "" if nothing is told."""
    try:
        return _path(token, "txt", way).read_text(encoding="utf-8")
    except (LookupError, FileNotFoundError):
        return ""


def forget_progress(token: str, way: str) -> None:
    """Let the sentence go that tells how far it is."""
    _path(token, "txt", way).unlink(missing_ok=True)


def tidy() -> int:
    """Remove what has lain for more than a day, unless a job still needs it; return how many files."""
    before = time.time() - KEPT_SECONDS
    old = [one for one in _folder().iterdir() if one.is_file() and one.stat().st_mtime < before]
    if not old:
        return 0
    rows = Job.objects.filter(kind=Kind.IMPORT, finished_at=None, dead_at=None).values_list("arguments", flat=True)
    needed = {arguments.get("token") for arguments in rows}
    gone = [one for one in old if one.name[:32] not in needed]
    for one in gone:
        one.unlink(missing_ok=True)
    return len(gone)
