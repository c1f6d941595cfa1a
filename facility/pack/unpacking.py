"""Opening a zip that anybody may have made: nothing is written outside its own folder, and nothing without a limit."""

from __future__ import annotations

import re
import stat
import zipfile
import zlib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from django.utils.translation import gettext as _

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

MIB: Final = 1024 * 1024
BLOCK: Final = 256 * 1024
LONGEST_NAME: Final = 240
#: packs name their members with these letters alone
PART: Final = re.compile(r"[A-Za-z0-9._-]+", re.ASCII)
ENCRYPTED: Final = 0x1
#: what the standard library makes of a zip that it cannot read; the last one of a name that is no text
UNREADABLE: Final = (
    zipfile.BadZipFile, zipfile.LargeZipFile, NotImplementedError, EOFError, OSError, zlib.error, UnicodeDecodeError,
)  # fmt: skip


class ArchiveRefusedError(ValueError):
    """A file that is not opened as a pack; the text names the member and what is wrong with it."""


@dataclass(frozen=True, slots=True)
class Limits:
    """How much is taken of a zip. A member above ``small`` may not be packed tighter than ``ratio`` to 1."""

    members: int = 20_000
    unpacked: int = 2048 * MIB
    ratio: int = 150
    small: int = 16 * MIB


def unpack(source: Path, target: Path, limits: Limits | None = None) -> Path:
    """Write the members of a zip below ``target`` and return the one folder that they are in.

    Errors: ArchiveRefusedError for a name that leads out, a link, a member twice, more than the limits, or damage.
    """
    limits = limits or Limits()
    try:
        with zipfile.ZipFile(source) as archive:
            found = _looked_through(archive.infolist(), limits)
            for told in found:
                _write(archive, told, target)
    except UNREADABLE as error:
        raise ArchiveRefusedError(_("This is no zip that can be read: %(why)s") % {"why": error}) from error
    return target / found[0].filename.split("/")[0]


def _looked_through(members: list[zipfile.ZipInfo], limits: Limits) -> list[zipfile.ZipInfo]:
    """Return the files among the members, after every name and size was looked at and before any is opened."""
    if len(members) > limits.members:
        raise ArchiveRefusedError(
            _("The zip has %(found)d members; %(most)d at most are opened.")
            % {"found": len(members), "most": limits.members}
        )
    for told in members:
        _refuse_name(told)
        _refuse_kind(told)
    files = [told for told in members if not told.is_dir()]
    if not files:
        raise ArchiveRefusedError(_("The zip is empty."))
    _refuse_twice([told.filename for told in files])
    _refuse_sizes(files, limits)
    tops = {told.filename.split("/")[0] for told in files}
    if len(tops) != 1 or any("/" not in told.filename for told in files):
        raise ArchiveRefusedError(
            _("A pack is one folder; this zip has %(names)s at its top.") % {"names": ", ".join(sorted(tops)[:5])}
        )
    return files


def _refuse_name(told: zipfile.ZipInfo) -> None:
    name = told.orig_filename
    if name.startswith("/") or "\\" in name or ":" in name:
        raise _of(name, _("its name leads to a place of its own"))
    parts = name.removesuffix("/").split("/")
    if any(part in ("", ".", "..") for part in parts):
        raise _of(name, _("its name leads out of the folder"))
    if len(name) > LONGEST_NAME or not all(PART.fullmatch(part) for part in parts):
        raise _of(name, _("its name has letters that no pack uses"))


def _refuse_kind(told: zipfile.ZipInfo) -> None:
    sort = stat.S_IFMT(told.external_attr >> 16)
    allowed = (0, stat.S_IFDIR) if told.is_dir() else (0, stat.S_IFREG)
    if sort not in allowed:
        raise _of(told.filename, _("it is a link or a device, not a file"))
    if told.flag_bits & ENCRYPTED:
        raise _of(told.filename, _("it is encrypted"))
    if told.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        raise _of(told.filename, _("it is packed in a way that packs do not use"))


def _refuse_twice(names: Iterable[str]) -> None:
    """Refuse two members of one name, also where only large and small letters differ, and a file that is a folder."""
    seen: set[str] = set()
    for name in names:
        if name.casefold() in seen:
            raise _of(name, _("it is there twice"))
        seen.add(name.casefold())
    for name in seen:
        parts = name.split("/")
        if any("/".join(parts[:end]) in seen for end in range(1, len(parts))):
            raise _of(name, _("it lies in what is a file itself"))


def _refuse_sizes(files: list[zipfile.ZipInfo], limits: Limits) -> None:
    whole = sum(told.file_size for told in files)
    if whole > limits.unpacked:
        raise ArchiveRefusedError(
            _("Unpacked it would be %(found)d MiB; %(most)d at most are opened.")
            % {"found": whole // MIB, "most": limits.unpacked // MIB}
        )
    for told in files:
        if told.file_size > limits.small and told.file_size > limits.ratio * max(told.compress_size, 1):
            raise _of(told.filename, _("it unpacks to much more than its size, as a bomb does"))


def _write(archive: zipfile.ZipFile, told: zipfile.ZipInfo, target: Path) -> None:
    """Write one member; what is longer than it said is refused before it fills the disk."""
    path = target / told.filename
    path.parent.mkdir(parents=True, exist_ok=True)
    left = told.file_size
    try:
        with archive.open(told) as source, path.open("xb") as file:
            while block := source.read(BLOCK):
                left -= len(block)
                if left < 0:
                    raise _of(told.filename, _("it is longer than it says"))
                file.write(block)
    except (zipfile.BadZipFile, zlib.error, EOFError) as error:
        raise _of(told.filename, _("it is damaged (%(why)s)") % {"why": error}) from error


def _of(name: str, why: str) -> ArchiveRefusedError:
    shown = ascii(name)[1:-1][:LONGEST_NAME]
    return ArchiveRefusedError(_("The member “%(name)s” is refused: %(why)s.") % {"name": shown, "why": why})
