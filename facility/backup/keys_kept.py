"""The keys of this box that go into its backups, sealed: without them a restored box is another one, and lets fewer in."""

from __future__ import annotations

import os
import secrets
from pathlib import Path
from typing import TYPE_CHECKING, Final

from django.conf import settings

from facility.accounts import factors

if TYPE_CHECKING:
    from collections.abc import Iterator

    from facility.backup.opening import Archive

#: in the data folder: the key of the log, the key that seals papers, and its certificate
KEPT: Final = ("box-key", "seal-key", "seal-cert.pem")
FOLDER: Final = "keys/"
ASIDE: Final = ".before-restore"


def found() -> Iterator[tuple[str, bytes]]:
    """Return the keys that there are, as (member of the archive, content)."""
    for name in KEPT:
        path = Path(settings.DATA_DIR) / name
        if path.is_file():
            yield f"{FOLDER}{name}", path.read_bytes()
    yield f"{FOLDER}{factors.KEYS_FILE}", "\n".join(factors.sealing_keys()).encode()


def put_back(archive: Archive) -> list[str]:
    """Write the keys of a backup into the data folder, for its owner only, and return their names.

    An older backup has none; the box then makes its own when it first signs. A key that a fresh
    installation has made meanwhile is put aside under another name, not destroyed.
    """
    inside = set(archive.zip.namelist())
    names = [name for name in (*KEPT, factors.KEYS_FILE) if f"{FOLDER}{name}" in inside]
    for name in names:
        _put(Path(settings.DATA_DIR) / name, archive.zip.read(f"{FOLDER}{name}"))
    return names


def _put(path: Path, content: bytes) -> None:
    if path.is_file() and path.read_bytes() != content:
        path.replace(path.with_name(f"{path.name}{ASIDE}-{secrets.token_hex(4)}"))
    unfinished = path.with_name(f".{path.name}-{secrets.token_hex(6)}")
    try:
        with os.fdopen(os.open(unfinished, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        unfinished.replace(path)
    finally:
        unfinished.unlink(missing_ok=True)
