"""Waits for SQLite's write lock with short, even pauses, so that nobody is passed over for long.

SQLite's own wait (sqlite.org/c3ref/busy_timeout.html) sleeps longer after each try, up to 100 ms: whoever has waited
long asks seldom, and those who have just come are served before. With even pauses each has the same chance.
"""

from __future__ import annotations

import random
import time
from typing import Any

from django.db import DataError, OperationalError
from django.db.backends.sqlite3 import base

PAUSE_S = 0.002
"""Between two tries; about as long as one of our writes holds the lock."""
MODE = "IMMEDIATE"


class Cursor(base.SQLiteCursorWrapper):
    """Django's cursor, to which a number beyond 64 bits is one that no row has, as it is to PostgreSQL."""

    def execute(self, query: str, params: Any = None) -> Any:
        """Run a statement. Errors: DataError where such a number would be written."""
        try:
            return super().execute(query, params)
        except OverflowError as error:
            if not query.lstrip().upper().startswith("SELECT") or not isinstance(params, list | tuple):
                raise DataError(str(error)) from error
        return super().execute(query, tuple(str(one) if isinstance(one, int) else one for one in params))


class DatabaseWrapper(base.DatabaseWrapper):
    """SQLite as Django drives it, but for the wait at the beginning of a transaction that will write, and large numbers."""

    transaction_mode: str | None

    def create_cursor(self, name: str | None = None) -> Any:
        """Return a cursor of ours."""
        return self.connection.cursor(factory=Cursor)

    def _start_transaction_under_autocommit(self) -> None:
        if self.transaction_mode != MODE:
            super()._start_transaction_under_autocommit()  # type: ignore[misc]  # Django's stubs do not name it
            return
        patience_s = float(self.settings_dict["OPTIONS"].get("timeout", 5.0))
        last = time.monotonic() + patience_s
        self.connection.execute("PRAGMA busy_timeout = 0")
        try:
            self._begin(last)
        finally:
            self.connection.execute(f"PRAGMA busy_timeout = {int(patience_s * 1000)}")

    def _begin(self, last: float) -> None:
        """Ask for the lock until it is there. Errors: OperationalError after the last moment, or if it is no lock that stops."""
        while True:
            try:
                self.cursor().execute(f"BEGIN {MODE}")
            except OperationalError as error:
                if not _is_lock(error) or time.monotonic() > last:
                    raise
            else:
                return
            time.sleep(PAUSE_S * random.uniform(0.5, 1.5))  # noqa: S311 - no secret, only not all at once


def _is_lock(error: OperationalError) -> bool:
    cause: Any = error.__cause__
    return str(getattr(cause, "sqlite_errorname", "")).startswith(("SQLITE_BUSY", "SQLITE_LOCKED"))
