"""The tables are what the models say, on the way forward."""

from __future__ import annotations

import re

import pytest
from django.core.management import call_command
from django.db import connection
from django.db.migrations.loader import MigrationLoader

OURS = ("facility", "maintenance", "treatments")


@pytest.mark.django_db
def test_no_model_has_changed_without_a_migration() -> None:
    call_command("makemigrations", check=True, dry_run=True, verbosity=0)


def test_each_migration_is_named_for_what_it_does() -> None:
    names = [name for app, name in MigrationLoader(None).disk_migrations or {} if app in OURS]
    assert names
    assert [name for name in names if re.search(r"_auto_|_initial$|^\d+$", name)] == []


@pytest.mark.both
@pytest.mark.django_db
def test_every_table_of_ours_is_made() -> None:
    tables = set(connection.introspection.table_names())
    missing = [
        table for table in connection.introspection.django_table_names(only_existing=False) if table not in tables
    ]
    assert missing == []
