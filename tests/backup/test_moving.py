"""From PostgreSQL to SQLite and back by the same files: proved equal at each end."""

from __future__ import annotations

import hashlib
import json
import secrets
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import quote

import psycopg
import pytest
from django.db import connection
from psycopg import sql

from facility.backup import making
from facility.backup.manifest import parse
from facility.readiness import shell
from tests import make
from tests.backup.kit import KEY, facility, manage, plain, sealed_again

if TYPE_CHECKING:
    from collections.abc import Iterator

    from facility.backup.manifest import Manifest

pytestmark = [pytest.mark.postgres, pytest.mark.django_db(transaction=True)]
AT = "2026-03-12T12:00Z"


@pytest.fixture
def url() -> Iterator[str]:
    """The address of an empty PostgreSQL database that goes after the test."""
    told = connection.settings_dict
    name = f"deepstead_moved_{secrets.token_hex(6)}"
    parts = {"host": told["HOST"], "port": told["PORT"] or "5432", "user": told["USER"], "password": told["PASSWORD"]}
    with psycopg.connect(dbname="postgres", autocommit=True, **{k: v for k, v in parts.items() if v}) as server:
        server.execute(f'CREATE DATABASE "{name}"')
        try:
            password = f":{quote(parts['password'], safe='')}" if parts["password"] else ""
            yield f"postgresql://{quote(parts['user'], safe='')}{password}@{parts['host']}:{parts['port']}/{name}"
        finally:
            server.execute(f'DROP DATABASE "{name}" WITH (FORCE)')


def folder_of(tmp_path: Path, name: str) -> Path:
    path = tmp_path / name
    path.mkdir()
    return path


def restore(folder: Path, path: str | Path, url: str = "") -> str:
    done = manage(folder, "restore", str(path), "--key", "-", given=KEY.words, url=url)
    assert done.returncode == 0, done.stderr
    return done.stdout.splitlines()[-1]


def contents(path: str) -> Manifest:
    return parse(plain(Path(path)).read("manifest.json"))


def without_settings(told: Manifest) -> dict[str, str]:
    """Return the digests of what goes along; settings are each box's own, and so is its key of second proofs."""
    own = ("settings.json", "keys/second-proof-keys")
    return {name: digest for name, digest in told.sha256.items() if name not in own}


def test_to_sqlite_and_back_to_postgresql_nothing_is_lost(folder: Path, tmp_path: Path, url: str) -> None:
    site = facility()
    answers = json.loads(shell.as_json(shell.asked(site.key, None, AT, make.NOON)))
    assert answers["plans"]
    first = making.make(folder / "out", KEY, by=make.BY)
    last_line = f"events {first.manifest.events}, head {first.manifest.head}"

    small = folder_of(tmp_path, "sqlite")
    assert restore(small, first.path) == last_line
    assert json.loads(manage(small, "readiness", site.key, "--at", AT, "--json").stdout) == answers
    again = manage(small, "backup", "--to", str(tmp_path / "again"))
    second_path = again.stdout.splitlines()[-1]

    large = folder_of(tmp_path, "postgresql")
    assert restore(large, second_path, url) == last_line
    assert not (large / "deepstead.sqlite3").exists()
    assert json.loads(manage(large, "readiness", site.key, "--at", AT, "--json", url=url).stdout) == answers
    third_path = manage(large, "backup", "--to", str(tmp_path / "third"), url=url).stdout.splitlines()[-1]

    one, two, three = first.manifest, contents(second_path), contents(third_path)
    assert (one.database, two.database, three.database) == ("postgresql", "sqlite", "postgresql")
    for other in (two, three):
        assert (other.events, other.head, other.counts) == (one.events, one.head, one.counts)
        assert without_settings(other) == without_settings(one)
    _is_in_use(large, url, last_line)


def _is_in_use(large: Path, url: str, last_line: str) -> None:
    """The event triggers hold, numbers go on where they stood, and a second restore is refused."""
    with psycopg.connect(url, autocommit=True) as moved:
        with pytest.raises(psycopg.errors.RestrictViolation, match="kept for ever"):
            moved.execute("DELETE FROM facility_event")
        for table in ("facility_site", "maintenance_equipment", "facility_job"):
            following = moved.execute("SELECT nextval(pg_get_serial_sequence(%s, 'id'))", [table]).fetchone()
            next_free = moved.execute(sql.SQL("SELECT MAX(id) + 1 FROM {}").format(sql.Identifier(table))).fetchone()
            assert following == next_free
    checked = manage(large, "check_records", url=url)
    assert checked.returncode == 0, checked.stdout
    refused = manage(large, "restore", "/nowhere", "--key", "-", given=KEY.words, url=url)
    assert "holds records already" in refused.stderr


def test_a_restore_that_fails_leaves_the_postgresql_database_as_it_was(folder: Path, tmp_path: Path, url: str) -> None:
    """A text of SQLite with a NUL is refused by PostgreSQL (its manual, chapter 8.3); the table is named."""
    facility()
    made = making.make(folder / "out", KEY, by=make.BY)
    archive = plain(made.path)
    name = "tables/facility.site.jsonl"
    changed = archive.read(name).replace(b"25 %", b"25 \\u0000")
    stated = json.loads(made.manifest.text())
    stated["sha256"][name] = hashlib.sha256(changed).hexdigest()
    wrong = sealed_again(archive, {name: changed, "manifest.json": json.dumps(stated).encode()}, tmp_path / "wrong")
    target = folder_of(tmp_path, "postgresql")
    done = manage(target, "restore", str(wrong), "--key", "-", given=KEY.words, url=url)
    assert done.returncode == 1
    assert "The table facility.site, lines 1 to 1, is refused by the database" in done.stderr
    with psycopg.connect(url) as database:
        found = database.execute("SELECT COUNT(*) FROM pg_tables WHERE schemaname = 'public'").fetchone()
    assert found == (0,)
    assert not (target / "evidence").exists()
