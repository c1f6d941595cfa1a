"""Tables as JSON lines that SQLite and PostgreSQL both read: one object a row, its columns by name.

Instants are ISO 8601 in UTC, decimals their digits as text, bytes base64. The same rows give the
same bytes on both databases, so the SHA-256 of a table's lines proves that a copy is equal.
"""

from __future__ import annotations

import base64
import hashlib
import json
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from itertools import islice
from typing import TYPE_CHECKING, Any, Final
from uuid import UUID

from django.db import DatabaseError, connections
from django.db.migrations.loader import MigrationLoader
from django.utils.duration import duration_iso_string
from django.utils.translation import gettext as _

from facility.backup.faults import BackupError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from django.apps.registry import Apps
    from django.db.models import Field, Model

BATCH: Final = 500
#: signed-in browsers are no records: whoever puts a backup back signs in again
LEFT_OUT: Final = ("sessions.session",)


@dataclass(frozen=True, slots=True)
class Count:
    """How many rows a table has, and the SHA-256 over its lines in hex digits."""

    rows: int
    sha256: str


def applied(using: str) -> list[tuple[str, str]]:
    """Return the migrations that a database has had, as (app, name)."""
    loader = MigrationLoader(connections[using])
    return sorted(node for node in loader.applied_migrations if node in loader.graph.nodes)


def apps_at(migrations: Iterable[tuple[str, str]]) -> Apps:
    """Return the models as they were after these migrations."""
    apps: Apps = MigrationLoader(None).project_state(list(migrations)).apps
    return apps


def ordered(apps: Apps) -> list[type[Model]]:
    """Return every model that has a table, each after those that it refers to."""
    models = {
        model._meta.label_lower: model
        for model in apps.get_models(include_auto_created=True)
        if model._meta.managed and not model._meta.proxy and model._meta.label_lower not in LEFT_OUT
    }
    done: dict[str, type[Model]] = {}
    under_way: set[str] = set()

    def place(label: str) -> None:
        if label in done or label in under_way or label not in models:
            return
        under_way.add(label)
        for field in models[label]._meta.concrete_fields:
            if field.remote_field is not None:
                place(field.remote_field.model._meta.label_lower)
        done[label] = models[label]

    for label in sorted(models):
        place(label)
    return list(done.values())


def columns(model: type[Model]) -> list[Field[Any, Any]]:
    """Return the columns that hold something of their own."""
    return [field for field in model._meta.concrete_fields if not getattr(field, "generated", False)]


def lines(model: type[Model], using: str) -> Iterator[bytes]:
    """Return the rows of a table, one line each, by primary key."""
    names = [field.attname for field in columns(model)]
    rows = model._base_manager.using(using).order_by("pk").values_list(*names)
    for row in rows.iterator(chunk_size=BATCH):
        content = {name: _plain(value) for name, value in zip(names, row, strict=True)}
        text = json.dumps(content, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
        yield text.encode() + b"\n"


def counted(found: Iterable[bytes], put: Callable[[bytes], object] = lambda _line: None) -> Count:
    """Hand on lines one by one and return their number and digest."""
    rows, digest = 0, hashlib.sha256()
    for line in found:
        put(line)
        digest.update(line)
        rows += 1
    return Count(rows, digest.hexdigest())


def _plain(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat()
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, Decimal | UUID):
        return str(value)
    if isinstance(value, timedelta):
        return duration_iso_string(value)
    if isinstance(value, bytes | memoryview):
        return base64.b64encode(bytes(value)).decode()
    return value


def load(model: type[Model], found: Iterable[bytes], using: str) -> None:
    """Put rows into an empty table exactly as they are, past defaults and automatic times.

    Errors: BackupError naming the table and the line that the database refuses.
    """
    link = connections[using]
    fields = columns(model)
    quote = link.ops.quote_name
    names = ", ".join(quote(str(field.column)) for field in fields)
    places = ", ".join("%s" for _field in fields)
    insert = f"INSERT INTO {quote(model._meta.db_table)} ({names}) VALUES ({places})"  # noqa: S608 - our own names
    remaining, done = iter(found), 0
    with link.cursor() as cursor:
        while batch := list(islice(remaining, BATCH)):
            try:
                cursor.executemany(insert, [_row(line, fields, using) for line in batch])
            except (DatabaseError, ValueError, KeyError) as error:
                raise BackupError(
                    _("The table %(table)s, lines %(first)d to %(last)d, is refused by the database: %(error)s")
                    % {
                        "table": model._meta.label_lower, "first": done + 1, "last": done + len(batch), "error": error,
                    }
                ) from error  # fmt: skip
            done += len(batch)


def _row(line: bytes, fields: list[Field[Any, Any]], using: str) -> list[Any]:
    content = json.loads(line)
    link = connections[using]
    return [field.get_db_prep_save(field.to_python(content[field.attname]), link) for field in fields]
