"""Uploaded files between the dry run and "take it": kept in the data folder for one day, for their uploader alone."""

from __future__ import annotations

import io
import re
import secrets
import time
import zipfile
from typing import TYPE_CHECKING

from django.conf import settings

from facility.imports.folder import UnreadableError, read_zip

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

KEPT_SECONDS = 24 * 3600
_TOKEN = re.compile(r"[0-9a-f]{32}")


def _folder() -> Path:
    folder: Path = settings.DATA_DIR / "imports"
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def keep(files: Mapping[str, bytes]) -> str:
    """Keep files and return the token that finds them again; what has waited too long goes."""
    for old in _folder().glob("*.zip"):
        if old.stat().st_mtime < time.time() - KEPT_SECONDS:
            old.unlink(missing_ok=True)
    token = secrets.token_hex(16)
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_STORED) as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    (_folder() / f"{token}.zip").write_bytes(buffer.getvalue())
    return token


def fetch(token: str) -> dict[str, bytes] | None:
    """Return kept files, or None if there are none of that token any more."""
    path = _folder() / f"{token}.zip"
    if _TOKEN.fullmatch(token) is None or not path.is_file():
        return None
    try:
        return read_zip(path.read_bytes())
    except UnreadableError:
        return None


def drop(token: str) -> None:
    """Let kept files go."""
    if _TOKEN.fullmatch(token):
        (_folder() / f"{token}.zip").unlink(missing_ok=True)
