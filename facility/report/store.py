"""Volumes that were sealed before, found again by the digest of all that went into them."""

from __future__ import annotations

import hashlib
import json
import os
import secrets
from dataclasses import dataclass
from functools import lru_cache
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Final

from django.conf import settings

from facility import events
from facility.models import Volume
from facility.papers import press
from facility.papers.printing import font_file

if TYPE_CHECKING:
    from facility.models import Site
    from facility.papers.presses import Sheet

FOLDER: Final = "volumes"
MAKERS: Final = ("weasyprint", "pydyf", "fonttools", "pikepdf", "pyHanko", "page-validation")


@dataclass(frozen=True, slots=True)
class Sealed:
    """A sealed document: where it lies, what it is, whether it lay there already."""

    path: Path
    sha256: str
    pages: int
    warm: bool


@dataclass(frozen=True, slots=True)
class Key:
    """Under which a volume is kept."""

    site: Site
    name: str
    month: str
    inputs_sha256: str


def folder() -> Path:
    """Return where volumes lie."""
    return Path(settings.DATA_DIR) / FOLDER


def inputs_of(sheet: Sheet, fingerprint: str) -> str:
    """Return the digest of all that a sealed document depends on: text, style, font, programs, and the sealing key."""
    parts = [sheet.html, sheet.css, fingerprint, *_programs()]
    return hashlib.sha256(json.dumps(parts, ensure_ascii=False).encode()).hexdigest()


@lru_cache(maxsize=1)
def _programs() -> tuple[str, ...]:
    made_by = [f"{name} {version(name)}" for name in MAKERS]
    files = [font_file(), Path(press.__file__), Path(__file__).with_name("seal.py")]
    return (*made_by, *(hashlib.sha256(path.read_bytes()).hexdigest() for path in files))


def found(key: Key) -> Sealed | None:
    """Return a volume that lies there whole; one whose file is missing or differs is as good as none."""
    row = Volume.objects.filter(inputs_sha256=key.inputs_sha256).first()
    if row is None:
        return None
    path = folder() / f"{row.file_sha256}.pdf"
    if not path.is_file() or hashlib.sha256(path.read_bytes()).hexdigest() != row.file_sha256:
        return None
    return Sealed(path, row.file_sha256, row.pages, warm=True)


def keep(key: Key, pdf: bytes, pages: int) -> Sealed:
    """Store a sealed document and its row."""
    placed = put(pdf, pages)
    Volume.objects.update_or_create(
        inputs_sha256=key.inputs_sha256,
        defaults={
            "site": key.site, "name": key.name, "month": key.month, "file_sha256": placed.sha256, "pages": pages,
            "size_bytes": len(pdf), "sealed_at": events.now(),
        },
    )  # fmt: skip
    return placed


def put(pdf: bytes, pages: int) -> Sealed:
    """Store a document under its digest, whole or not at all."""
    digest = hashlib.sha256(pdf).hexdigest()
    folder().mkdir(parents=True, exist_ok=True)
    path = folder() / f"{digest}.pdf"
    unfinished = folder() / f".{secrets.token_hex(8)}"
    with os.fdopen(os.open(unfinished, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        file.write(pdf)
        file.flush()
        os.fsync(file.fileno())
    unfinished.replace(path)
    return Sealed(path, digest, pages, warm=False)


def earlier(key: Key) -> list[Volume]:
    """Return what was sealed for the same name and month before, newest first."""
    rows = Volume.objects.filter(site=key.site, name=key.name, month=key.month)
    return list(rows.exclude(inputs_sha256=key.inputs_sha256).order_by("-sealed_at", "-pk"))
