"""Making a backup while the app runs: one sealed file from one consistent view of the database."""

from __future__ import annotations

import hashlib
import os
import secrets
import zipfile
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any, Final, cast

from django.conf import settings
from django.db import connection, transaction
from django.utils.translation import gettext as _

from facility import __version__, events, evidence, record_check
from facility.backup import keys_kept, manifest, store, tables
from facility.backup.faults import BackupError
from facility.backup.sealing import Sealer
from facility.backup.settings_kept import settings_text
from facility.pack.snapshot import snapshot

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from django.apps.registry import Apps

    from facility.backup.keys import Key
    from facility.backup.manifest import Manifest

BLOCK: Final = 1024 * 1024


def silent(_sentence: str) -> None:
    """Tell nobody."""


@dataclass(frozen=True, slots=True)
class Made:
    """A backup that lies whole on its disk."""

    path: Path
    manifest: Manifest


@dataclass(slots=True)
class _Archive:
    """The zip inside the seal, with the digest of each member as it was written."""

    zip: zipfile.ZipFile
    sha256: dict[str, str] = field(default_factory=dict)

    def put(self, name: str, blocks: Iterator[bytes], *, packed: bool = True) -> tables.Count:
        """Write one member and return how many blocks it had and its digest."""
        told = zipfile.ZipInfo(name, date_time=(1980, 1, 1, 0, 0, 0))
        told.compress_type = zipfile.ZIP_DEFLATED if packed else zipfile.ZIP_STORED
        with self.zip.open(told, "w", force_zip64=True) as member:
            done = tables.counted(blocks, member.write)
        self.sha256[name] = done.sha256
        return done


def make(folder: Path, key: Key, *, by: events.Actor | None, say: Callable[[str], object] = silent) -> Made:
    """Write one backup into a folder, record that it was made, and return it.

    With ``by`` None nothing is recorded: before an upgrade the tables may not take a new event.

    Errors: BackupError if the folder cannot be written; a file that was begun is taken away.
    """
    unfinished = folder / f"{store.UNFINISHED}{secrets.token_hex(8)}"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        handle = os.open(unfinished, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "wb") as file:
            told = _write(cast("IO[bytes]", file), key, say)
            file.flush()
            os.fsync(file.fileno())
        path = store.free_path(folder, events.now())
        unfinished.rename(path)
    except OSError as error:
        raise BackupError(
            _("The backup cannot be written to %(folder)s: %(reason)s. Give a folder with enough room by --to.")
            % {"folder": folder, "reason": error.strerror or error}
        ) from error
    finally:
        with suppress(OSError):  # a folder that is none, or a disk that is gone, was told above
            unfinished.unlink(missing_ok=True)
    if by is not None:
        _note(path, told, by=by)
    return Made(path, told)


def _note(path: Path, told: Manifest, *, by: events.Actor) -> None:
    after = {"file": path.name, "events": str(told.events), "head": told.head}
    with transaction.atomic():
        events.record(None, events.What("backup:made", after=after), by=by)


def _write(file: IO[bytes], key: Key, say: Callable[[str], object]) -> Manifest:
    sealer = Sealer(cast("Any", file), key)
    with zipfile.ZipFile(cast("Any", sealer), "w") as packed, snapshot() as using:
        archive = _Archive(packed)
        told = _content(archive, using, say)
        archive.put(manifest.NAME, iter([told.text().encode()]))
    sealer.close()
    return told


def _content(archive: _Archive, using: str, say: Callable[[str], object]) -> Manifest:
    made_at = events.now()
    migrations = tables.applied(using)
    if not migrations:
        raise BackupError(_("There is nothing to back up: the database has no tables yet."))
    apps = tables.apps_at(migrations)
    counts = _put_tables(archive, apps, using, say)
    missing = _put_files(archive, apps, using, say)
    archive.put(manifest.SETTINGS, iter([settings_text().encode()]))
    for member, content in keys_kept.found():
        archive.put(member, iter([content]))
    count, head = head_of(apps, using)
    return manifest.Manifest(
        made_at=made_at.isoformat(), version=__version__, database=connection.vendor, demo=settings.DEMO,
        migrations=[list(node) for node in migrations], events=count, head=head, tables=list(counts), counts=counts,
        sha256=dict(archive.sha256), faults=list(record_check.verify().faults), missing=missing,
    )  # fmt: skip


def _put_tables(archive: _Archive, apps: Apps, using: str, say: Callable[[str], object]) -> dict[str, int]:
    counts: dict[str, int] = {}
    models = tables.ordered(apps)
    for number, model in enumerate(models, 1):
        label = model._meta.label_lower
        say(_("Table %(number)d of %(all)d: %(table)s") % {"number": number, "all": len(models), "table": label})
        counts[label] = archive.put(manifest.member_of(label), tables.lines(model, using)).rows
    return counts


def _put_files(archive: _Archive, apps: Apps, using: str, say: Callable[[str], object]) -> list[str]:
    """Write the evidence files that the view knows, and return the digests of those missing or damaged."""
    known = apps.get_model("facility", "Evidence")._base_manager.using(using)
    digests = sorted(set(known.values_list("sha256", flat=True)))
    missing: list[str] = []
    for number, digest in enumerate(digests, 1):
        say(_("File %(number)d of %(all)d") % {"number": number, "all": len(digests)})
        path = evidence.path_of(digest)
        if not path.is_file() or _digest_of(path) != digest:
            missing.append(digest)
            continue
        archive.put(f"evidence/{digest}", _blocks(path), packed=False)
    return missing


def _digest_of(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _blocks(path: Path) -> Iterator[bytes]:
    with path.open("rb") as file:
        while block := file.read(BLOCK):
            yield block


def head_of(apps: Apps, using: str) -> tuple[int, str]:
    """Return how many events there are, and the digest of the newest in hex digits."""
    log = apps.get_model("facility", "Event")._base_manager.using(using)
    newest = log.order_by("-seq").values_list("digest", flat=True).first()
    return log.count(), bytes(newest if newest is not None else bytes(32)).hex()
