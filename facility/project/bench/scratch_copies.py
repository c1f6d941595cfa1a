"""Many sites that are all alike, copied inside the database from one: a thousand take seconds, not minutes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.apps import apps
from django.db import connection

from facility.models import Chamber, Site
from facility.project.bench.scratch import Size, facilities

if TYPE_CHECKING:
    from collections.abc import Iterator

    from django.db.models import Model

STEP = 100_000
"""Numbers of rows from one copy to the next; the first site has fewer rows of each kind."""
SHARED = frozenset({"Organisation", "QualificationKind"})
APPS = ("facility", "maintenance", "treatments")


def alike(number: int, size: Size) -> list[Chamber]:
    """Store ``number`` sites that are all alike, one chamber each, and return their chambers.

    Errors: ValueError if one site has more rows of a kind than fit between two copies.
    """
    facilities(1, size)
    with connection.cursor() as cursor:
        for model in list(_with_rows()):
            _copy(model, number)
        cursor.execute("ANALYZE")
    return list(Chamber.objects.order_by("pk"))


def _with_rows() -> Iterator[type[Model]]:
    """Yield the kinds of row that belong to the site, the tables between two kinds too; owners come first."""
    kinds = [model for app in APPS for model in apps.get_app_config(app).get_models(include_auto_created=True)]
    for model in kinds:
        if model.__name__ in SHARED or not model._default_manager.exists():
            continue
        if model._default_manager.filter(pk__gte=STEP).exists():
            raise ValueError(f"More than {STEP} rows of {model.__name__} in one site: make it smaller.")
        yield model


def _copy(model: type[Model], number: int) -> None:
    """Copy all rows of a kind ``number`` - 1 times, each with its references moved along; keys of sites get a number."""
    columns, values = [], []
    for field in model._meta.concrete_fields:
        name = connection.ops.quote_name(str(field.column))
        moved = field.primary_key or (field.is_relation and field.related_model.__name__ not in SHARED)  # type: ignore[union-attr]  # a relation has a model
        key_of_site = model is Site and field.name == "key"
        columns.append(name)
        values.append(
            f"{name} + copies.nth * {STEP}" if moved else f"{name} || '-' || copies.nth" if key_of_site else name
        )
    table = connection.ops.quote_name(model._meta.db_table)
    sql = (
        f"INSERT INTO {table} ({', '.join(columns)}) WITH RECURSIVE copies(nth) AS (SELECT 1 UNION ALL SELECT nth + 1 FROM copies"  # noqa: S608  # names of our own models, no value from outside
        f" WHERE nth < {number - 1}) SELECT {', '.join(values)} FROM {table} CROSS JOIN copies"
    )
    if number > 1:
        with connection.constraint_checks_disabled(), connection.cursor() as cursor:
            cursor.execute(sql)
