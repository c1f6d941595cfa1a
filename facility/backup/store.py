"""The folder of scheduled backups: names that tell when, the newest one's age, pruning, the second copy."""

from __future__ import annotations

import os
import re
import secrets
import shutil
import time
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Final

from django.conf import settings

from facility.backup import pruning
from facility.backup.sealing import key_number_of

if TYPE_CHECKING:
    from collections.abc import Iterator

STAMP: Final = "%Y-%m-%dT%H%M%SZ"
NAMED: Final = re.compile(r"deepstead-(\d{4}-\d\d-\d\dT\d{6}Z)(-\d+)?\.backup")
UNFINISHED: Final = ".unfinished-"
OLD_SECONDS: Final = 24 * 3600


def folder() -> Path:
    """Return where scheduled backups are kept."""
    path: Path = settings.DATA_DIR / "backups"
    return path


def free_path(target: Path, made_at: datetime) -> Path:
    """Return a name in a folder that no backup has yet."""
    stamp = made_at.astimezone(UTC).strftime(STAMP)
    path, number = target / f"deepstead-{stamp}.backup", 1
    while path.exists():
        number += 1
        path = target / f"deepstead-{stamp}-{number}.backup"
    return path


def instant_of(name: str) -> datetime:
    """Return the instant in the name of a backup. Errors: ValueError for another name."""
    told = NAMED.fullmatch(name)
    if told is None:
        raise ValueError(f"{name} is not the name of a backup.")
    return datetime.strptime(told[1], STAMP).replace(tzinfo=UTC)


def found(target: Path) -> Iterator[tuple[datetime, Path]]:
    """Return the backups of a folder with the instant in their names."""
    for path in target.glob("deepstead-*.backup"):
        with suppress(ValueError):
            yield instant_of(path.name), path


def newest() -> Path | None:
    """Return the newest scheduled backup, or None."""
    backups = sorted(found(folder()))
    return backups[-1][1] if backups else None


def newest_age(now: datetime) -> timedelta | None:
    """Return how old the newest scheduled backup is, or None if there is none."""
    instants = [instant for instant, _path in found(folder())]
    return now - max(instants) if instants else None


def prune(target: Path, *, of_box: Path | None = None) -> int:
    """Remove the backups of a folder that the rule does not keep. Return how many.

    With ``of_box`` only those sealed with the key of that file: several boxes may share a stick or a folder.
    """
    backups = [one for one in found(target) if of_box is None or key_number_of(one[1]) == key_number_of(of_box)]
    stay = pruning.kept(instant for instant, _path in backups)
    gone = [path for instant, path in backups if instant not in stay]
    for path in gone:
        path.unlink(missing_ok=True)
    for path in target.glob(f"{UNFINISHED}*"):
        if time.time() - path.stat().st_mtime > OLD_SECONDS:
            path.unlink(missing_ok=True)
    return len(gone)


def copy(path: Path, target: Path) -> Path:
    """Copy a backup whole or not at all, and return where it is. A file of another box keeps its name and place."""
    unfinished, final = target / f"{UNFINISHED}{secrets.token_hex(8)}", target / path.name
    if final.exists() and key_number_of(final) != key_number_of(path):
        final = free_path(target, instant_of(path.name))
    try:
        with path.open("rb") as source, unfinished.open("wb") as file:
            shutil.copyfileobj(source, file, 1024 * 1024)
            file.flush()
            os.fsync(file.fileno())
        unfinished.replace(final)
    finally:
        unfinished.unlink(missing_ok=True)
    return final
