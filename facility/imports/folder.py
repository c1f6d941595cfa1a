"""The files of one import: from a folder, from uploaded files, or from a zip that is read with care."""

from __future__ import annotations

import io
import stat
import zipfile
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

if TYPE_CHECKING:
    from collections.abc import Iterable

MOST_BYTES = 20 * 1024 * 1024
MOST_FILES = 60
MOST_RATIO = 200  # unpacked to packed; plain CSV text packs about 3 to 20 times
ENCRYPTED = 0x1
#: what a computer puts beside the files by itself
PASSED_OVER = ("__macosx/", ".ds_store", "thumbs.db")


class UnreadableError(ValueError):
    """The files as a whole cannot be read; the text says why and what to do."""


def read_folder(path: Path) -> dict[str, bytes]:
    """Return the CSV files of a folder by name in small letters.

    Errors: UnreadableError if there is no such folder, or it holds too much.
    """
    if not path.is_dir():
        raise UnreadableError(_("%(path)s is no folder. Name the folder that holds the CSV files.") % {"path": path})
    found = sorted(child for child in path.iterdir() if child.is_file() and child.suffix.lower() == ".csv")
    _refuse_too_much(len(found), sum(child.stat().st_size for child in found))
    return gathered((child.name, child.read_bytes()) for child in found)


def gathered(files: Iterable[tuple[str, bytes]]) -> dict[str, bytes]:
    """Return files by name in small letters; a zip among them is opened.

    Errors: UnreadableError if a name is there twice, or it is too much.
    """
    taken: dict[str, bytes] = {}
    for name, content in files:
        inside = read_zip(content).items() if name.lower().endswith(".zip") else [(name, content)]
        for inner, bytes_of_it in inside:
            key = PurePosixPath(inner.lower()).name
            if key in taken:
                raise UnreadableError(
                    _("%(name)s is there twice. Keep one; large files of one kind belong together.") % {"name": key}
                )
            taken[key] = bytes_of_it
    _refuse_too_much(len(taken), sum(len(content) for content in taken.values()))
    if not taken:
        raise UnreadableError(_("There is no CSV file. Fill in the templates, and put their files here."))
    return taken


def _refuse_too_much(files: int, size: int) -> None:
    if files > MOST_FILES:
        raise UnreadableError(
            _("%(count)s files are more than the %(most)s that one import takes.")
            % {"count": files, "most": MOST_FILES}
        )
    if size > MOST_BYTES:
        raise UnreadableError(
            _("%(size)s bytes are more than the %(most)s that one import takes. Import in parts.")
            % {"size": size, "most": MOST_BYTES}
        )


def read_zip(content: bytes) -> dict[str, bytes]:
    """Return the files of a zip by name. Nothing is ever written to disk.

    Errors: UnreadableError for a broken or encrypted zip, a name that leaves the folder, a link, a
    name twice, another zip inside, or more than may be unpacked.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            members = [one for one in archive.infolist() if not one.is_dir() and not _passed_over(one.filename)]
            for member in members:
                _refuse_member(member)
            _refuse_too_much(len(members), sum(member.file_size for member in members))
            return _unpacked(archive, members)
    except (zipfile.BadZipFile, zipfile.LargeZipFile, NotImplementedError, EOFError, OSError) as error:
        raise UnreadableError(_("The zip cannot be read: %(why)s. Make it again.") % {"why": error}) from None


def _passed_over(name: str) -> bool:
    return name.lower().startswith(PASSED_OVER[0]) or PurePosixPath(name.lower()).name in PASSED_OVER[1:]


def _refuse_member(member: zipfile.ZipInfo) -> None:
    name = member.filename
    kind = stat.S_IFMT(member.external_attr >> 16)
    if name.startswith(("/", "\\")) or "\\" in name or ":" in name or ".." in PurePosixPath(name).parts:
        why = _("its name leads out of the zip")
    elif kind not in (0, stat.S_IFREG):
        why = _("it is a link or no plain file")
    elif member.flag_bits & ENCRYPTED:
        why = _("it is encrypted")
    elif name.lower().endswith(".zip"):
        why = _("it is another zip")
    elif member.file_size > MOST_RATIO * max(member.compress_size, 1):
        why = _("it unpacks to far more than any table does")
    else:
        return
    raise UnreadableError(
        _("The zip holds “%(name)s”, which is not taken: %(why)s. Pack only the CSV files.")
        % {"name": name, "why": why}
    )


def _unpacked(archive: zipfile.ZipFile, members: list[zipfile.ZipInfo]) -> dict[str, bytes]:
    files: dict[str, bytes] = {}
    left = MOST_BYTES
    for member in members:
        key = PurePosixPath(member.filename.lower()).name
        if key in files:
            raise UnreadableError(_("The zip holds %(name)s twice. Keep one.") % {"name": key})
        with archive.open(member) as opened:
            files[key] = opened.read(left + 1)
        left -= len(files[key])
        if left < 0:
            raise UnreadableError(_("The zip unpacks to more than %(most)s bytes.") % {"most": MOST_BYTES})
    return files
