"""Databases to attack: SQLite always, PostgreSQL for tests with its marker. Each is dropped afterwards."""

from __future__ import annotations

import os
from itertools import count
from typing import TYPE_CHECKING

import psycopg
import pytest
from django.db import connections

from tests.facility.events import store

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from pytest_django import DjangoDbBlocker

_numbers = count(1)
NAME = f"ds_events_{os.getpid()}"
BOTH = ["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)]


@pytest.fixture(scope="session")
def sqlite_template(tmp_path_factory: pytest.TempPathFactory) -> store.Store:
    return store.make_sqlite(tmp_path_factory.mktemp("events") / "template")


@pytest.fixture(scope="session")
def postgres_template(tmp_path_factory: pytest.TempPathFactory) -> Iterator[store.Store]:
    try:
        psycopg.connect(store.SERVER, connect_timeout=3).close()
    except psycopg.OperationalError as error:
        pytest.skip(f"No PostgreSQL server answers at {store.SERVER} (DEEPSTEAD_TEST_POSTGRES_URL): {error}")
    try:
        yield store.make_postgres(tmp_path_factory.mktemp("events_postgres") / "template", NAME)
    finally:
        store.drop_postgres(NAME)


@pytest.fixture
def sqlite_store(
    sqlite_template: store.Store, tmp_path: Path, django_db_blocker: DjangoDbBlocker
) -> Iterator[store.Store]:
    yield from _entered(store.copy_sqlite(sqlite_template, tmp_path / "sqlite"), django_db_blocker)


@pytest.fixture
def postgres_store(
    postgres_template: store.Store, tmp_path: Path, django_db_blocker: DjangoDbBlocker
) -> Iterator[store.Store]:
    name = f"{NAME}_{next(_numbers)}"
    try:
        yield from _entered(store.copy_postgres(postgres_template, tmp_path / "postgres", name), django_db_blocker)
    finally:
        store.drop_postgres(name)


@pytest.fixture
def superuser_store(postgres_store: store.Store) -> store.Store:
    """A database whose user may do everything: the hardest to guard against."""
    if not store.is_superuser():
        pytest.skip(f"The user of {store.SERVER} is no superuser: the server itself refuses what is tried here.")
    return postgres_store


@pytest.fixture(params=BOTH)
def either(request: pytest.FixtureRequest) -> store.Store:
    """A test with this fixture runs on SQLite and on PostgreSQL."""
    made: store.Store = request.getfixturevalue(f"{request.param}_store")
    return made


def _entered(made: store.Store, blocker: DjangoDbBlocker) -> Iterator[store.Store]:
    """Let Django work on a database for one test; then put the old connection back."""
    before = connections["default"]
    with blocker.unblock():
        made.enter()
        try:
            yield made
        finally:
            connections["default"].close()
            connections["default"] = before
