"""Many kinds of row in one query, as plain tuples: what readiness is gathered with.

A branch selects one JSON array per row, its kind last. All branches together are one
UNION ALL of a single text column, so the number of queries stays the same however
many kinds, items and years there are, and parsing is one call into the JSON reader.
"""

from __future__ import annotations

import gc
import json
from collections import defaultdict
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING, Any, TypeAlias, TypeVar

from django.db import connection
from django.db.models import F, Func, QuerySet, Subquery, TextField, Value
from django.db.models.functions import Cast

from facility.compute.instants import MINUTES_PER_DAY, Instant, end_of_local_day
from facility.models import Kept

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from django.db.backends.base.base import BaseDatabaseWrapper
    from django.db.models.expressions import Combinable
    from django.db.models.sql.compiler import SQLCompiler

Row: TypeAlias = list[Any]
Rows: TypeAlias = dict[str, list[Row]]
"""Rows by kind, the kind itself taken off."""

Record = TypeVar("Record", bound=Kept)
One = TypeVar("One")

_EPOCH_DAY = date(1970, 1, 1).toordinal()


@dataclass(frozen=True, slots=True)
class Scope:
    """What is asked for: chambers, the sites they stand at, the instant, and how far back a routine record counts.

    ``duty_since``: how far back duty bears on rest, where a house asks for rest; else duty that is over is left out.
    """

    chambers: tuple[int, ...]
    sites: tuple[int, ...]
    at: datetime
    since: datetime
    duty_since: datetime | None = None


class JsonArray(Func):
    """A JSON array of columns; numbers, texts and nested arrays keep their kind."""

    output_field = TextField()

    def as_sql(self, compiler: SQLCompiler, connection: BaseDatabaseWrapper, *_: Any, **extra: Any) -> Any:
        """Write the call in the words of the database."""
        name = "jsonb_build_array" if connection.vendor == "postgresql" else "json_array"
        return super().as_sql(compiler, connection, function=name, **extra)


class AsJson(Func):
    """A JSON column, or a subquery that returns one, nested instead of quoted."""

    output_field = TextField()

    def as_sql(self, compiler: SQLCompiler, connection: BaseDatabaseWrapper, *_: Any, **extra: Any) -> Any:
        """Say so where the database keeps JSON as text."""
        template = "%(expressions)s" if connection.vendor == "postgresql" else "json(%(expressions)s)"
        return super().as_sql(compiler, connection, template=template, **extra)


class AsText(Func):
    """A nested array as one text, to be parsed only where it was not seen before."""

    output_field = TextField()

    def as_sql(self, compiler: SQLCompiler, connection: BaseDatabaseWrapper, *_: Any, **extra: Any) -> Any:
        """SQLite nests what it knows to be JSON, until it is joined to something."""
        template = "(%(expressions)s)::text" if connection.vendor == "postgresql" else "(%(expressions)s || '')"
        return super().as_sql(compiler, connection, template=template, **extra)


def as_text(*fields: str | Combinable) -> AsText:
    """Return columns as the text of one array."""
    return AsText(JsonArray(*_columns(fields)))


def newest(ordered: QuerySet[Any], *fields: str | Combinable) -> AsJson:
    """Return the first row of a correlated queryset as a nested array; null if there is none."""
    return AsJson(Subquery(ordered.values(gathered=JsonArray(*_columns(fields)))[:1]))


class Nested(Subquery):
    """All rows of a correlated subquery as one nested array, empty if there are none."""

    template = ""  # each database has its own

    def as_sql(self, compiler: Any, connection: Any, *_: Any, **extra: Any) -> Any:
        """Write the call in the words of the database."""
        template = (
            "COALESCE((SELECT jsonb_agg(g.gathered) FROM (%(subquery)s) g), '[]'::jsonb)"
            if connection.vendor == "postgresql"
            else "json((SELECT json_group_array(json(g.gathered)) FROM (%(subquery)s) g))"
        )
        return super().as_sql(compiler, connection, template=template, **extra)


def nested(correlated: QuerySet[Any], *fields: str | Combinable) -> Nested:
    """Return all rows of a correlated queryset as a nested array of arrays."""
    return Nested(correlated.order_by().values(gathered=JsonArray(*_columns(fields))), output_field=TextField())


def branch(kind: str, rows: QuerySet[Any], *fields: str | Combinable) -> QuerySet[Any]:
    """Return one kind of row for ``fetch``."""
    name = Cast(Value(kind), TextField())
    array = Cast(JsonArray(*_columns(fields), name), TextField())
    return rows.order_by().values(gathered=array)


def fetch(branches: Iterable[QuerySet[Any]]) -> Rows:
    """Run all branches as one query."""
    first, *others = branches
    sql, parameters = first.union(*others, all=True).query.sql_with_params()
    with connection.cursor() as cursor:
        cursor.execute(sql, parameters)
        texts = cursor.fetchall()
    return sort_rows(text for (text,) in texts)


def sort_rows(texts: Iterable[str]) -> Rows:
    """Parse the arrays and put them under their kinds; fractions stay exact."""
    found: Rows = defaultdict(list)
    for row in json.loads(f"[{','.join(texts)}]", parse_float=Decimal):
        found[row.pop()].append(row)
    return found


@contextmanager
def collector_paused() -> Iterator[None]:
    """Make many things that all stay: to look for rubbish among them again and again only takes time.

    Afterwards they count as old, so that the collector does not walk through all of them at once.
    """
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            if not gc.get_freeze_count():  # a web process shares what was frozen before it was made
                gc.freeze()
                gc.unfreeze()
            gc.enable()


def _columns(fields: Iterable[str | Combinable]) -> list[Combinable]:
    return [F(field) if isinstance(field, str) else field for field in fields]


def current(model: type[Record]) -> QuerySet[Record]:
    """Return the rows of a model that still count."""
    return QuerySet(model).filter(retired_at=None)


def grouped(rows: Iterable[One], owner: Callable[[One], int | None]) -> dict[int | None, list[One]]:
    """Put rows under their owners."""
    found: dict[int | None, list[One]] = defaultdict(list)
    for row in rows:
        found[owner(row)].append(row)
    return found


@lru_cache(maxsize=8192)
def minute_down(text: str) -> Instant:
    """Return a stored UTC time in whole minutes, seconds cut off.

    >>> minute_down("1970-01-02 00:01:59.5")
    1441
    """
    moment = datetime.fromisoformat(text[:16])
    return (moment.toordinal() - _EPOCH_DAY) * MINUTES_PER_DAY + moment.hour * 60 + moment.minute


@lru_cache(maxsize=8192)
def minute_up(text: str) -> Instant:
    """Return a stored UTC time in whole minutes, a begun minute counted.

    >>> minute_up("1970-01-02T00:01:00+00:00"), minute_up("1970-01-02 00:01:00.000001")
    (1441, 1442)
    """
    whole = text[17:19] == "00" and text[19:20] != "."
    return minute_down(text) + (0 if whole else 1)


def start_of_day(day: date, zone: str) -> Instant:
    """Return the first instant of a civil day in ``zone``."""
    return end_of_local_day(day, -1, zone)
