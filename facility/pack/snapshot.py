"""One view of the database for everything that a pack is made from: a second connection that keeps no writer waiting."""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING, Final

from django.db import connection, connections, transaction

if TYPE_CHECKING:
    from collections.abc import Iterator

NAME: Final = "pack-snapshot"


@contextmanager
def snapshot() -> Iterator[str]:
    """Open a second connection that sees the database as it stands now, and name it."""
    link = connection.copy(NAME)
    if link.vendor == "sqlite":
        link.settings_dict["OPTIONS"]["transaction_mode"] = "DEFERRED"
    connections[NAME] = link
    try:
        with transaction.atomic(using=NAME):
            if link.vendor == "postgresql":
                with link.cursor() as cursor:
                    cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
            yield NAME
    finally:
        link.close()
        del connections[NAME]
