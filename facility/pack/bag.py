"""A folder as a bag (RFC 8493), its tag manifest signed, and the same bytes again as a zip.

The zip has sorted names and fixed times and modes: the same folder gives the same file.
"""

from __future__ import annotations

import base64
import hashlib
import stat
import zipfile
from typing import TYPE_CHECKING, Final

from facility import box_key
from facility.pack import layout

if TYPE_CHECKING:
    from pathlib import Path

FIXED_TIME: Final = (1980, 1, 1, 0, 0, 0)
BLOCK: Final = 1024 * 1024
MODE: Final = 0o644
UNIX: Final = 3
TEXTS: Final = frozenset({".csv", ".jsonl", ".txt", ".note", ".json", ".ics", ".py", ".html", ".sig"})
"""Endings of what is worth packing; pictures and PDF are packed already."""


def digest_of(path: Path) -> str:
    """Return the SHA-256 of a file in hexadecimal digits."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def members(folder: Path) -> list[str]:
    """Return the files below a folder by their path with slashes, sorted."""
    return sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file())


def make(folder: Path, told: dict[str, str]) -> None:
    """Write the tag files around the payload of a folder, and sign them. ``told``: fields of bag-info.txt."""
    payload = [name for name in members(folder) if name.startswith(f"{layout.DATA}/")]
    size = sum((folder / name).stat().st_size for name in payload)
    info = {**told, "Payload-Oxum": f"{size}.{len(payload)}"}
    _text(folder / layout.BAGIT, "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n")
    _text(folder / layout.BAG_INFO, "".join(f"{name}: {one_line(value)}\n" for name, value in sorted(info.items())))
    _text(folder / layout.MANIFEST, manifest(folder, payload))
    tags = [layout.BAGIT, layout.BAG_INFO, layout.MANIFEST, *layout.VERIFIERS]
    _text(folder / layout.TAG_MANIFEST, manifest(folder, sorted(tags)))
    sign(folder)


def sign(folder: Path) -> None:
    """Write the signature of the tag manifest beside it."""
    signed = box_key.sign(layout.LABEL, (folder / layout.TAG_MANIFEST).read_bytes())
    _text(folder / layout.SIGNATURE, base64.b64encode(signed).decode())


def manifest(folder: Path, names: list[str]) -> str:
    """Return a manifest: digest, two blanks, path; each on its line."""
    return "".join(f"{digest_of(folder / name)}  {name}\n" for name in names)


def one_line(text: str) -> str:
    """Return a text that no tag file takes for more than one line."""
    return " ".join("".join(letter if letter.isprintable() else " " for letter in text).split())


def _text(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8", newline="\n")


def zipped(folder: Path, target: Path) -> None:
    """Write a folder into a zip, below its own name."""
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED, allowZip64=True) as archive:
        for name in members(folder):
            told = zipfile.ZipInfo(f"{folder.name}/{name}", FIXED_TIME)
            told.create_system = UNIX
            told.external_attr = (stat.S_IFREG | MODE) << 16
            told.compress_type = zipfile.ZIP_DEFLATED if name[name.rfind(".") :] in TEXTS else zipfile.ZIP_STORED
            with (folder / name).open("rb") as source, archive.open(told, "w", force_zip64=True) as member:
                while block := source.read(BLOCK):
                    member.write(block)
