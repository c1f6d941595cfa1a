"""The files of a pack: certificates as PDF that its records name, and what was released one by one."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from facility import evidence
from facility.models import Evidence

if TYPE_CHECKING:
    from pathlib import Path

    from facility.pack.tables import Written

PDF: Final = "application/pdf"


@dataclass(slots=True)
class Attached:
    """Which files went along by their row's number, and which are missing or damaged by their digest."""

    files: set[int] = field(default_factory=set)
    missing: list[str] = field(default_factory=list)
    pictures_kept_back: int = 0


def attach(folder: Path, named: Written, released: list[int], using: str) -> Attached:
    """Write the files, each under its digest."""
    folder.mkdir()
    done = Attached()
    rows = Evidence._base_manager.using(using).filter(pk__in={*named.proofs, *released}).order_by("pk")
    for row in rows:
        if row.media_type != PDF and row.pk not in released:
            done.pictures_kept_back += 1
            continue
        path = evidence.path_of(row.sha256)
        content = path.read_bytes() if path.is_file() else b""
        if hashlib.sha256(content).hexdigest() != row.sha256:
            done.missing.append(row.sha256)
            continue
        (folder / f"{row.sha256}{ending_of(row.media_type)}").write_bytes(content)
        done.files.add(row.pk)
    return done


def ending_of(media_type: str) -> str:
    """Return the ending for a kind of file: ours, never the sender's."""
    known = evidence.ENDINGS.get(media_type)
    return known[0] if known else evidence.TEXT_ENDINGS.get(media_type, ".bin")
