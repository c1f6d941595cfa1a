"""Which folder holds the records, decided before the settings read it. Standard library only.

Invented and real records never share a folder: a file ``demo-data`` marks the invented ones.
"""

from __future__ import annotations

import os
import sqlite3
import sys
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

ROOT = Path(__file__).resolve().parent.parent.parent
MARKER = "demo-data"
DATABASE = "deepstead.sqlite3"


class FolderError(ValueError):
    """The data folder cannot be used; the text says what to do."""


def choose(arguments: Sequence[str]) -> None:
    """Set DEEPSTEAD_DATA for the command; for ``up`` also make and check the folder."""
    command = arguments[0] if arguments else ""
    if command == "test":
        os.environ.setdefault("DEEPSTEAD_DATA", str(ROOT / "var" / "test"))
    if command != "up":
        return
    demo = "--demo" in arguments
    path = Path(os.environ.get("DEEPSTEAD_DATA") or ROOT / "var" / ("demo" if demo else "main")).resolve()
    try:
        prepare(path, demo=demo)
    except FolderError as error:
        sys.exit(str(error))
    os.environ["DEEPSTEAD_DATA"] = str(path)


def prepare(path: Path, *, demo: bool) -> None:
    """Make the folder, open to its owner alone, and its marker for invented records.

    Errors: FolderError if it cannot be written, or holds records of the other sort.
    """
    if demo and (os.environ.get("DEEPSTEAD_DATABASE_URL") or os.environ.get("DEEPSTEAD_DATABASE_URL_FILE")):
        raise FolderError(
            "up --demo keeps its invented records in a folder of its own, but DEEPSTEAD_DATABASE_URL names a database."
            " Unset DEEPSTEAD_DATABASE_URL, or leave out --demo."
        )
    _must_be_writable(path)
    marker = path / MARKER
    if demo and not marker.exists():
        if has_records(path / DATABASE):
            raise FolderError(
                f"{path} holds real records, so invented ones are not put there."
                " Leave out --demo, or name an empty folder in DEEPSTEAD_DATA."
            )
        marker.write_text("The records in this folder are invented.\n", encoding="utf-8")
    if not demo and marker.exists():
        raise FolderError(
            f"{path} holds invented demo records, so real ones are not put there."
            " Add --demo, or name another folder in DEEPSTEAD_DATA."
        )


def _must_be_writable(path: Path) -> None:
    try:
        path.mkdir(mode=0o700, parents=True, exist_ok=True)
        probe = path / f".writable-{os.getpid()}"
        probe.touch()
        probe.unlink()
    except OSError as error:
        raise FolderError(
            f"The data folder {path} cannot be written: {error.strerror}."
            " Give this user the right to write there, or name another folder in DEEPSTEAD_DATA."
        ) from error


def has_records(database: Path) -> bool:
    """Whether a SQLite file holds any user or event. Each stored record has its event."""
    if not database.is_file() or database.stat().st_size == 0:
        return False
    try:
        with closing(sqlite3.connect(f"{database.as_uri()}?mode=ro", uri=True)) as connection:
            return any(_has_row(connection, table) for table in ("facility_event", "facility_user"))
    except sqlite3.DatabaseError as error:
        raise FolderError(f"{database} cannot be read: {error}. Name another folder in DEEPSTEAD_DATA.") from error


def _has_row(connection: sqlite3.Connection, table: str) -> bool:
    known = connection.execute("SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = ?", [table]).fetchone()
    return bool(known) and bool(connection.execute(f"SELECT 1 FROM {table} LIMIT 1").fetchone())  # noqa: S608 - our own names
