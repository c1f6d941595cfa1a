"""A database of its own, migrated by ``manage.py migrate``, to be attacked with plain SQL."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit, urlunsplit

import psycopg
from django.db import connections, transaction
from django.db.utils import load_backend

from facility import events
from facility.events import What
from facility.models import Event
from facility.project import env

if TYPE_CHECKING:
    from collections.abc import Sequence

ROOT = Path(__file__).resolve().parents[3]
_GIVEN = (
    os.environ.get("DEEPSTEAD_TEST_POSTGRES_URL") or f"postgresql://{os.environ.get('USER') or 'root'}@127.0.0.1:5432"
)
#: the database that every server has; the tests make and drop their own beside it
SERVER = urlunsplit(urlsplit(_GIVEN)._replace(path="/postgres"))
BY = events.system("test")
Refused = (sqlite3.DatabaseError, psycopg.DatabaseError)


@dataclass(frozen=True)
class Store:
    """One migrated database: a file of SQLite, or a database of a PostgreSQL server."""

    folder: Path
    url: str

    @property
    def is_sqlite(self) -> bool:
        return not self.url

    @property
    def file(self) -> Path:
        return self.folder / "deepstead.sqlite3"

    def environment(self) -> dict[str, str]:
        """Return the environment of a process that works on this database."""
        own = {"DEEPSTEAD_DATA": str(self.folder), "DEEPSTEAD_DATABASE_URL": self.url, "PYTHONPATH": str(ROOT)}
        return os.environ | own | {"DJANGO_SETTINGS_MODULE": "facility.project.settings"}

    def manage(self, *words: str) -> subprocess.CompletedProcess[str]:
        """Run a command of the project on this database."""
        command = [sys.executable, "-m", "django", *words]
        return subprocess.run(
            command, cwd=ROOT, env=self.environment(), capture_output=True, text=True, check=False, timeout=120
        )

    def writer(self, *words: str, before: Sequence[str] = (), **more: Any) -> subprocess.Popen[bytes]:
        """Start a process that appends events; see writer.py for the words."""
        command = [*before, sys.executable, "-m", "tests.facility.events.writer", *words]
        return subprocess.Popen(command, cwd=ROOT, env=self.environment(), **more)

    def raw(self) -> Any:
        """Return a plain connection past Django, as the owner of the database; each statement commits."""
        if self.is_sqlite:
            return closing(sqlite3.connect(self.file, isolation_level=None, timeout=20))
        return closing(psycopg.connect(self.url, autocommit=True))

    def rows(self, query: str) -> list[tuple[Any, ...]]:
        """Return the rows of a query past Django."""
        with self.raw() as link:
            return [tuple(row) for row in link.execute(query).fetchall()]

    def run(self, *statements: str) -> None:
        """Run statements past Django, as the owner of the database."""
        with self.raw() as link:
            for statement in statements:
                link.execute(statement)

    def drop_triggers(self) -> None:
        """Take the triggers away by plain SQL, as the owner of the database can."""
        names = ["event_no_update", "event_no_delete", "event_only_next"]
        if self.is_sqlite:
            self.run(*(f"DROP TRIGGER {name}" for name in [*names, "event_row_number"]))
        else:
            self.run(*(f"DROP TRIGGER {name} ON facility_event" for name in [*names, "event_no_truncate"]))

    def enter(self) -> None:
        """Let Django work on this database until leave()."""
        setting = connections.settings["default"] | {"OPTIONS": {}} | env.database(self.url, self.folder)
        connections["default"] = load_backend(str(setting["ENGINE"])).DatabaseWrapper(setting, "default")


def fill(number: int) -> list[Event]:
    """Append events, each in its own transaction, and return them."""
    made = []
    for n in range(number):
        with transaction.atomic():
            made.append(events.record(None, What("test:noted", after={"depth": f"{n} fsw"}), by=BY))
    return made


def make_sqlite(folder: Path) -> Store:
    """Return a database file migrated from nothing."""
    folder.mkdir(parents=True)
    return _migrated(Store(folder, ""))


def make_postgres(folder: Path, name: str) -> Store:
    """Return a database of the server, migrated from nothing."""
    folder.mkdir(parents=True)
    with psycopg.connect(SERVER, autocommit=True) as link:
        link.execute(f"CREATE DATABASE {name}")
    return _migrated(Store(folder, url_of(name)))


def url_of(name: str) -> str:
    """Return the address of a database on the test server."""
    return urlunsplit(urlsplit(SERVER)._replace(path=f"/{name}"))


def _migrated(store: Store) -> Store:
    done = store.manage("migrate", "--verbosity", "0")
    assert done.returncode == 0, done.stderr
    return store


def copy_sqlite(template: Store, folder: Path) -> Store:
    """Return a copy of a database file that nobody has open."""
    shutil.copytree(template.folder, folder)
    return Store(folder, "")


def copy_postgres(template: Store, folder: Path, name: str) -> Store:
    """Return a copy of a database that nobody has open."""
    folder.mkdir(parents=True)
    origin = urlsplit(template.url).path.lstrip("/")
    with psycopg.connect(SERVER, autocommit=True) as link:
        link.execute(f"CREATE DATABASE {name} TEMPLATE {origin}")
    return Store(folder, url_of(name))


def is_superuser() -> bool:
    """Return whether the user of the test server may pose as a replica and make other users."""
    with psycopg.connect(SERVER) as link:
        return bool(link.execute("SELECT rolsuper FROM pg_roles WHERE rolname = current_user").fetchall()[0][0])


def drop_postgres(name: str) -> None:
    """Drop a database that a test made."""
    with psycopg.connect(SERVER, autocommit=True) as link:
        link.execute(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")
