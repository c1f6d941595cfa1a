"""Checks of the machine and of settings that do not go together: each says what, and what to do."""

from __future__ import annotations

import re
import shutil
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any
from unittest.mock import Mock

import pytest
from django.core.checks import run_checks
from django.core.checks.registry import registry
from django.db import connection

from facility import box_checks

if TYPE_CHECKING:
    from collections.abc import Callable

    from django.core.checks import CheckMessage


SOURCE = Path(str(box_checks.__file__))


@pytest.fixture(autouse=True)
def _ordinary(settings: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An installation with which nothing is wrong."""
    settings.DATA_DIR, settings.DISK_LEAST_MIB = tmp_path, 1
    monkeypatch.setattr(box_checks, "on_sqlite", lambda: True)
    settings.BACKUP_COPIES, settings.BACKUP_COMMAND, settings.EMAIL_HOST = [], "take-it-away", "mail.house.test"
    settings.HEADER_USER, settings.HEADER_FROM, settings.SECURE_PROXY_SSL_HEADER = "", [], None
    settings.BEHIND_TLS, settings.DEBUG, settings.DEMO = False, False, False
    settings.METRICS_TOKEN = settings.API_TOKEN = ""
    for name in ("DEEPSTEAD_BROKER_URL", "DEEPSTEAD_BROKER_URL_FILE"):
        monkeypatch.delenv(name, raising=False)


def told(check: Callable[..., list[CheckMessage]]) -> list[tuple[str | None, str, str]]:
    return [(one.id, one.msg, one.hint or "") for one in check(None)]


def test_every_check_is_registered() -> None:
    found = {one for name, one in vars(box_checks).items() if name.startswith("check_")}
    assert found - registry.registered_checks == {box_checks.check_reach}
    assert box_checks.check_reach in registry.deployment_checks


def test_an_ordinary_box_has_nothing_to_say() -> None:
    ours = [one for one in run_checks(include_deployment_checks=False) if one.id in ids_of_the_source()]
    assert ours == []


def ids_of_the_source() -> set[str]:
    return set(re.findall(r'id="(facility\.\w+)"', SOURCE.read_text(encoding="utf-8")))


def test_no_two_faults_have_one_number() -> None:
    both = [SOURCE, SOURCE.with_name("checks.py")]
    found = [name for file in both for name in re.findall(r'id="(facility\.\w+)"', file.read_text("utf-8"))]
    assert len(found) == len(set(found))


def test_little_room_is_told_in_mebibytes(settings: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    settings.DISK_LEAST_MIB = 200
    usage = shutil.disk_usage("/")
    monkeypatch.setattr(shutil, "disk_usage", lambda _folder: usage._replace(free=199 * 1024 * 1024))
    ((number, message, hint),) = told(box_checks.check_room)
    assert (number, message) == ("facility.W005", "Only 199 MiB are free where the data folder lies.")
    assert "Make room" in hint
    settings.DATA_DIR = Path("/no/such/folder")
    monkeypatch.undo()
    assert told(box_checks.check_room) == []


MOUNTED = """/dev/sda1 / ext4 rw 0 0
nas:/share /mnt/with\\040blank nfs4 rw 0 0
/dev/sdb1 /mnt/with\\040blank/disk ext4 rw 0 0
broken
"""


@pytest.mark.parametrize(
    ("folder", "kind", "on_sqlite", "count"),
    [
        ("/srv/data", "ext4", True, 0),
        ("/mnt/with blank/data", "nfs4", True, 1),
        ("/mnt/with blank/data", "nfs4", False, 0),
        ("/mnt/with blank/disk/data", "ext4", True, 0),
    ],
)
def test_a_database_file_on_a_network_disk_is_refused(
    settings: Any, monkeypatch: pytest.MonkeyPatch, folder: str, kind: str, on_sqlite: bool, count: int
) -> None:
    """SQLite's manual (sqlite.org/wal.html): WAL does not work over a network file system. Lines as in proc(5)."""
    mounts = settings.DATA_DIR / "mounts"
    mounts.write_text(MOUNTED)
    monkeypatch.setattr(box_checks, "MOUNTS", mounts)
    monkeypatch.setattr(box_checks, "on_sqlite", lambda: on_sqlite)
    settings.DATA_DIR = Path(folder)
    assert box_checks.file_system_of(Path(folder)) == kind
    found = told(box_checks.check_disk_is_local)
    assert [number for number, _message, _hint in found] == ["facility.W013"] * count


def test_where_the_system_does_not_tell_its_disks_nothing_is_said(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(box_checks, "MOUNTS", tmp_path / "missing")
    assert told(box_checks.check_disk_is_local) == []


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(connection.vendor != "sqlite", reason="pragmas are of SQLite")
@pytest.mark.parametrize(
    ("pragma", "words"), [("synchronous", "synchronous = 1, not FULL"), ("foreign_keys", "foreign_keys = 0, not ON")]
)
def test_an_sqlite_that_may_lose_the_last_commit_is_told(pragma: str, words: str) -> None:
    """What the numbers mean: sqlite.org/pragma.html (synchronous 1 is NORMAL, 2 is FULL)."""
    assert box_checks.check_sqlite(None, databases=["default"]) == []
    with connection.cursor() as cursor:
        before = cursor.execute(f"PRAGMA {pragma}").fetchone()[0]
        cursor.execute(f"PRAGMA {pragma} = {words.split()[2].rstrip(',')}")
        try:
            (found,) = box_checks.check_sqlite(None, databases=["default"])
        finally:
            cursor.execute(f"PRAGMA {pragma} = {before}")
    assert words in found.msg
    assert box_checks.check_sqlite(None) == [], "without a database named none is opened"


def test_a_clock_that_was_never_set_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    assert told(box_checks.check_clock) == []
    monkeypatch.setattr(box_checks, "datetime", Mock(now=lambda _zone: datetime(1970, 1, 3, tzinfo=UTC)))
    ((number, message, hint),) = told(box_checks.check_clock)
    assert number == "facility.W014"
    assert "The clock shows 1970-01-03" in message
    assert "timedatectl" in hint


def test_missing_data_of_time_zones_are_told(monkeypatch: pytest.MonkeyPatch) -> None:
    assert told(box_checks.check_zones) == []
    monkeypatch.setattr(box_checks, "ZONE", "Nowhere/At_All")
    ((number, _message, hint),) = told(box_checks.check_zones)
    assert number == "facility.E004"
    assert "tzdata" in hint


@pytest.mark.parametrize(
    ("values", "number"),
    [
        ({"HEADER_USER": "Remote-User"}, "facility.W007"),
        ({"HEADER_USER": "Remote-User", "HEADER_FROM": ["10.0.0.7", "0.0.0.0/0"]}, "facility.E005"),
        ({"HEADER_USER": "Remote-User", "HEADER_FROM": ["::/0"]}, "facility.E005"),
        ({"HEADER_USER": "Remote-User", "HEADER_FROM": ["10.0.0.7", "not an address"]}, None),
        ({"HEADER_FROM": ["0.0.0.0/0"]}, None),
        ({"SECURE_PROXY_SSL_HEADER": ("HTTP_X_FORWARDED_PROTO", "https")}, "facility.W008"),
        ({"SECURE_PROXY_SSL_HEADER": ("HTTP_X_FORWARDED_PROTO", "https"), "BEHIND_TLS": True}, None),
        ({"DEBUG": True}, "facility.W009"),
        ({"DEBUG": True, "DEMO": True}, None),
    ],
)
def test_doors_that_do_not_go_together_are_told(settings: Any, values: dict[str, Any], number: str | None) -> None:
    for name, value in values.items():
        setattr(settings, name, value)
    found = told(box_checks.check_doors)
    assert [one[0] for one in found] == ([number] if number else [])
    assert all(hint for _number, _message, hint in found)


def test_a_token_that_could_be_guessed_is_told_without_it(settings: Any) -> None:
    settings.METRICS_TOKEN, settings.API_TOKEN = "x" * 19, "y" * 20
    ((number, message, hint),) = told(box_checks.check_tokens)
    assert (number, message) == ("facility.W010", "DEEPSTEAD_METRICS_TOKEN has 19 letters; take at least 20.")
    assert "xxx" not in message + hint


@pytest.mark.parametrize("name", ["DEEPSTEAD_BROKER_URL", "DEEPSTEAD_BROKER_URL_FILE"])
def test_a_broker_over_an_sqlite_file_is_told(monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    monkeypatch.setenv(name, "redis://127.0.0.1:6379/0")
    assert [number for number, _message, _hint in told(box_checks.check_broker)] == ["facility.W011"]
    monkeypatch.setattr(box_checks, "on_sqlite", lambda: False)
    assert told(box_checks.check_broker) == []


def test_a_place_for_copies_that_is_not_there_is_named(settings: Any, tmp_path: Path) -> None:
    (tmp_path / "there").mkdir()
    settings.BACKUP_COPIES = [tmp_path / "there", tmp_path / "gone"]
    ((number, message, hint),) = told(box_checks.check_copies)
    assert number == "facility.W012"
    assert message == f"The place {tmp_path / 'gone'} for copies of backups is not there."
    assert "DEEPSTEAD_BACKUP_COPY" in hint


def test_what_a_box_does_without_is_said_for_deployment(settings: Any) -> None:
    assert told(box_checks.check_reach) == []
    settings.BACKUP_COMMAND = settings.EMAIL_HOST = ""
    assert [number for number, _message, _hint in told(box_checks.check_reach)] == ["facility.I001", "facility.I002"]
