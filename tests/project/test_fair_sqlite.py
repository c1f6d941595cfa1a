"""Who waits for SQLite's write lock gets it soon after it is free, or is told in time. SQLITE_BUSY: sqlite.org/rescode.html."""

from __future__ import annotations

import sqlite3
import threading
import time
from contextlib import closing
from typing import TYPE_CHECKING

import pytest
from django.db import OperationalError

from facility.project import env
from facility.project.fair_sqlite.base import DatabaseWrapper

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

HOLD_S = 0.4


@pytest.fixture
def link(tmp_path: Path, django_db_blocker: pytest.FixtureRequest) -> Iterator[DatabaseWrapper]:
    """A connection of its own to a database of its own."""
    from django.db import connections

    with django_db_blocker.unblock():  # type: ignore[attr-defined]
        setting = connections.settings["default"] | {"OPTIONS": {}} | env.sqlite(tmp_path / "one.sqlite3")
        made = DatabaseWrapper(setting, "default")
        with made.cursor() as cursor:
            cursor.execute("CREATE TABLE row (n INTEGER)")
        yield made
        made.close()


def begin(link: DatabaseWrapper) -> None:
    """Begin a transaction that will write, as transaction.atomic() does."""
    link.set_autocommit(False, force_begin_transaction_with_broken_autocommit=True)


def held(path: str, seconds: float) -> threading.Thread:
    """Let another connection hold the write lock for a while."""
    holds = threading.Event()

    def hold() -> None:
        with closing(sqlite3.connect(path, isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            holds.set()
            time.sleep(seconds)
            other.execute("COMMIT")

    thread = threading.Thread(target=hold)
    thread.start()
    assert holds.wait(5)
    return thread


def busy_timeout(link: DatabaseWrapper) -> int:
    return int(link.connection.execute("PRAGMA busy_timeout").fetchone()[0])


def test_a_writer_waits_while_another_writes_and_goes_on_when_it_is_done(link: DatabaseWrapper) -> None:
    other = held(str(link.settings_dict["NAME"]), HOLD_S)
    before = time.monotonic()
    begin(link)
    assert time.monotonic() - before >= HOLD_S / 2
    with link.cursor() as cursor:
        cursor.execute("INSERT INTO row VALUES (1)")
    link.commit()
    link.set_autocommit(True)
    other.join()
    with link.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM row")
        assert cursor.fetchone() == (1,)


def test_one_who_waits_too_long_is_told_that_the_database_is_locked(link: DatabaseWrapper) -> None:
    link.settings_dict["OPTIONS"]["timeout"] = 0.1
    other = held(str(link.settings_dict["NAME"]), 2 * HOLD_S)
    with pytest.raises(OperationalError, match="locked"):
        begin(link)
    other.join()


def test_every_other_statement_keeps_sqlites_own_wait(link: DatabaseWrapper) -> None:
    begin(link)
    assert busy_timeout(link) == 20_000
    link.rollback()
    link.set_autocommit(True)


def test_what_is_no_lock_is_raised_at_once(link: DatabaseWrapper) -> None:
    begin(link)
    before = time.monotonic()
    with pytest.raises(OperationalError, match="within a transaction"):
        link._start_transaction_under_autocommit()
    assert time.monotonic() - before < 1
    assert busy_timeout(link) == 20_000
    link.rollback()
