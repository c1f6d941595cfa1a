"""One view of the database for all that a pack or a backup is made from: a second connection that keeps no writer waiting."""

from __future__ import annotations

from contextlib import contextmanager
from contextvars import ContextVar
from typing import TYPE_CHECKING, Any, Final

from django.db import connection, connections, transaction

if TYPE_CHECKING:
    from collections.abc import Iterator

    from django.db.models import Model

NAME: Final = "snapshot"
#: what a build itself keeps and looks up while it reads: never by the view, which would not show it
LIVE: Final = frozenset({"facility.job", "facility.volume", "facility.signingkey", "facility.checkpoint"})
_read_from: ContextVar[str | None] = ContextVar("read_from", default=None)


class Router:
    """Leads what a build reads to its view; everybody else, and every row that is stored, to the database itself."""

    def db_for_read(self, model: type[Model], **_hints: Any) -> str | None:
        """Return the view while ``reading_from`` is on, else no wish."""
        return None if model._meta.label_lower in LIVE else _read_from.get()

    def allow_relation(self, _one: Model, _other: Model, **_hints: Any) -> bool | None:
        """Let a row of the view point at one that was read before it: they are the same rows."""
        return True if _read_from.get() else None


@contextmanager
def reading_from(using: str) -> Iterator[None]:
    """Let every record that is read here come from a view, whoever reads it. Rows read so are of no use afterwards."""
    token = _read_from.set(using)
    try:
        yield
    finally:
        _read_from.reset(token)


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
