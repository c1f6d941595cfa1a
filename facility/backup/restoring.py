"""Putting a backup back: everything is built beside and moved into place last, the database last of all."""

from __future__ import annotations

import os
import secrets
import shutil
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from django.conf import settings
from django.db import connection, transaction
from django.utils.translation import gettext as _

from facility import evidence
from facility.backup import keys, keys_kept, manifest
from facility.backup.database import drop_empty_tables, fill, refuse_records
from facility.backup.faults import BackupError
from facility.backup.opening import opened
from facility.backup.settings_kept import as_environment

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from facility.backup.keys import Key
    from facility.backup.manifest import Manifest
    from facility.backup.opening import Archive

SCRATCH: Final = "restoring-"
SETTINGS_FILE: Final = "settings-of-backup.env"
DEMO_MARKER: Final = "demo-data"


@dataclass(frozen=True, slots=True)
class Restored:
    """What was put back; ``events`` and ``head`` as they stand now, after any newer migration."""

    manifest: Manifest
    events: int
    head: str
    faults: tuple[str, ...]


def restore(path: Path, key: Key, *, say: Callable[[str], object]) -> Restored:
    """Put a backup into this installation's empty folder and database.

    The caller makes sure that nothing else starts or runs on them.
    Errors: BackupError; the folder and the database are then as they were before.
    """
    refuse_records()
    _clear_leftovers()
    say(_("Reading the backup"))
    with opened(path, key, near=settings.DATA_DIR) as archive, _scratch() as folder:
        _refuse_mixing(archive.manifest)
        _unpack(archive, folder, say)
        with _database() as finish:
            verdict = fill(archive, say)
            finish()
            _put_files(folder)
            _put_rest(archive, key)
        return Restored(archive.manifest, verdict.count, verdict.head_hex, verdict.faults)


def _refuse_mixing(told: Manifest) -> None:
    if settings.DEMO and not told.demo:
        raise BackupError(
            _(
                "The folder %(folder)s is marked as holding invented records, the backup holds real ones. Name another folder."
            )
            % {"folder": settings.DATA_DIR}
        )


def _clear_leftovers() -> None:
    """Remove what a restore that was killed has left."""
    for path in [*settings.DATA_DIR.glob(f"{SCRATCH}*"), *_sqlite_folder().glob(f"{SCRATCH}*.sqlite3*")]:
        if path.is_dir():
            shutil.rmtree(path)
        else:
            path.unlink(missing_ok=True)


def _sqlite_folder() -> Path:
    folder: Path = settings.DATA_DIR
    return Path(connection.settings_dict["NAME"]).parent if connection.vendor == "sqlite" else folder


@contextmanager
def _scratch() -> Iterator[Path]:
    folder = settings.DATA_DIR / f"{SCRATCH}{secrets.token_hex(6)}"
    folder.mkdir(mode=0o700)
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _unpack(archive: Archive, folder: Path, say: Callable[[str], object]) -> None:
    """Write the evidence files; their digests were compared when the archive was opened."""
    digests = archive.evidence()
    for number, digest in enumerate(digests, 1):
        say(_("File %(number)d of %(all)d") % {"number": number, "all": len(digests)})
        with (folder / digest).open("wb") as file:
            for block in archive.blocks(f"evidence/{digest}"):
                file.write(block)
            file.flush()
            os.fsync(file.fileno())


def _put_files(folder: Path) -> None:
    for path in folder.iterdir():
        target = evidence.path_of(path.name)
        target.parent.mkdir(parents=True, exist_ok=True)
        path.replace(target)


def _put_rest(archive: Archive, key: Key) -> None:
    keys.keep(key, settings.DATA_DIR)
    keys_kept.put_back(archive)
    kept = as_environment(archive.zip.read(manifest.SETTINGS))
    (settings.DATA_DIR / SETTINGS_FILE).write_text(kept, encoding="utf-8")
    if archive.manifest.demo:
        (settings.DATA_DIR / DEMO_MARKER).write_text("The records in this folder are invented.\n", encoding="utf-8")


@contextmanager
def _database() -> Iterator[Callable[[], None]]:
    """Give a database without tables that becomes the real one at the very end, or not at all."""
    if connection.vendor == "postgresql":
        with transaction.atomic():
            drop_empty_tables()
            yield lambda: None
        return
    real = Path(connection.settings_dict["NAME"])
    beside = real.with_name(f"{SCRATCH}{secrets.token_hex(6)}.sqlite3")
    try:
        _use(beside)
        yield _write_out
        _use(real)
        _replace(beside, real)
    finally:
        _use(real)
        for part in _parts(beside):
            part.unlink(missing_ok=True)


def _use(path: Path) -> None:
    connection.close()
    connection.settings_dict["NAME"] = str(path)


def _write_out() -> None:
    """Bring everything from SQLite's log into the file itself."""
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        busy = cursor.fetchone()
    if busy is None or busy[0]:
        raise BackupError(_("The new database could not be written out whole: another program reads it. Try again."))


def _replace(beside: Path, real: Path) -> None:
    with beside.open("rb") as file:
        os.fsync(file.fileno())
    for part in _parts(real)[1:]:
        part.unlink(missing_ok=True)
    beside.replace(real)
    folder = os.open(real.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)


def _parts(path: Path) -> list[Path]:
    return [path, path.with_name(f"{path.name}-wal"), path.with_name(f"{path.name}-shm")]
