"""Opening a backup: unsealed into a file without a name, every member checked before any is used."""

from __future__ import annotations

import hashlib
import re
import tempfile
import zipfile
from contextlib import contextmanager
from dataclasses import dataclass
from typing import IO, TYPE_CHECKING, Any, Final, cast

from django.utils.translation import gettext as _

from facility.backup import manifest
from facility.backup.faults import BackupError
from facility.backup.sealing import unseal

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from facility.backup.keys import Key
    from facility.backup.manifest import Manifest

BLOCK: Final = 1024 * 1024
EVIDENCE: Final = re.compile(r"evidence/([0-9a-f]{64})")


@dataclass(frozen=True, slots=True)
class Archive:
    """A backup that is whole and unchanged."""

    manifest: Manifest
    zip: zipfile.ZipFile

    def lines(self, table: str) -> Iterator[bytes]:
        """Return the stored rows of a table."""
        with self.zip.open(manifest.member_of(table)) as member:
            yield from member

    def evidence(self) -> list[str]:
        """Return the digests of the evidence files inside."""
        return [found[1] for name in self.zip.namelist() if (found := EVIDENCE.fullmatch(name))]

    def blocks(self, name: str) -> Iterator[bytes]:
        """Return the bytes of one member, part by part."""
        with self.zip.open(name) as member:
            while block := member.read(BLOCK):
                yield block


@contextmanager
def opened(path: Path, key: Key, *, near: Path) -> Iterator[Archive]:
    """Open a backup. Its plain bytes lie in a nameless file in the folder ``near`` and go with it.

    Errors: BackupError naming what is wrong with the file, the part or the member.
    """
    try:
        with path.open("rb") as source, tempfile.TemporaryFile(dir=near) as plain:
            unseal(source, key, cast("Any", plain))
            with zipfile.ZipFile(cast("IO[bytes]", plain)) as packed:
                yield Archive(_checked(packed), packed)
    except BackupError as error:
        raise BackupError(f"{path}: {error}") from error
    except FileNotFoundError as error:
        raise BackupError(_("There is no file %(path)s.") % {"path": error.filename or path}) from error


def _checked(packed: zipfile.ZipFile) -> Manifest:
    names = packed.namelist()
    if manifest.NAME not in names:
        raise BackupError(_("The backup holds no manifest."))
    told = manifest.parse(packed.read(manifest.NAME))
    expected = [*told.sha256, manifest.NAME]
    if sorted(names) != sorted(expected):
        strange = ", ".join(sorted(set(names) ^ set(expected))) or _("one member twice")
        raise BackupError(
            _("The backup and its manifest do not name the same members: %(names)s.") % {"names": strange}
        )
    for name, sha256 in told.sha256.items():
        _check_member(packed, name, sha256)
    if lacking := [table for table in told.tables if manifest.member_of(table) not in told.sha256]:
        raise BackupError(_("The backup lacks the tables %(names)s.") % {"names": ", ".join(lacking)})
    return told


def _check_member(packed: zipfile.ZipFile, name: str, sha256: str) -> None:
    with packed.open(name) as member:
        found = hashlib.file_digest(cast("Any", member), "sha256").hexdigest()
    evidence = EVIDENCE.fullmatch(name)
    if found != sha256 or (evidence is not None and evidence[1] != found):
        raise BackupError(
            _("The member %(name)s has SHA-256 %(found)s, the manifest says %(told)s.")
            % {"name": name, "found": found, "told": sha256}
        )
