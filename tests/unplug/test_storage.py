"""A database that is held by another, may not be written or is full; a disk without room. Real errors of SQLite and the system.

A file system that is really full would need one of its own. Instead SQLite's own limit of pages gives its real
error, the system's limit of the size of a file stops a real process in the middle, and where a photo is written
the system's error is put in.
"""

from __future__ import annotations

import errno
import os
import resource
import sqlite3
import subprocess
from contextlib import closing
from io import BytesIO
from typing import TYPE_CHECKING, Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from PIL import Image

from facility import events, evidence
from facility.models import Event, Evidence, Heartbeat
from tests.backup import kit
from tests.unplug.box import is_plain, nothing_wrong
from tests.walk.pictures import png

if TYPE_CHECKING:
    from tests.unplug.box import Box

LIMIT_BYTES = 64 * 1024


def pragma(text: str) -> Any:
    with connection.cursor() as cursor:
        cursor.execute(f"PRAGMA {text}")
        return cursor.fetchone()


def test_a_database_that_another_holds_can_be_read_and_says_so_when_written(box: Box) -> None:
    pragma("busy_timeout = 200")
    before = box.kept()
    with closing(sqlite3.connect(box.made.file, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        assert box.now_page()[0] == 200
        status, page = box.enter_reading()
        assert status == 503
        assert is_plain(page)
        assert "another program holds them" in page
        assert box.kept() == before
        other.execute("ROLLBACK")
    assert box.enter_reading()[0] == 302
    assert box.kept() == (before[0] + 1, before[1] + 1)
    assert nothing_wrong()


def test_a_database_that_may_not_be_written_is_told_and_loses_nothing(box: Box) -> None:
    """SQLite itself refuses each writing, as it does with a file on a disk that became read-only."""
    before = box.kept()
    pragma("query_only = ON")
    assert box.now_page()[0] == 200
    status, page = box.enter_reading()
    assert (status, is_plain(page)) == (503, True)
    pragma("query_only = OFF")
    assert box.kept() == before
    assert box.enter_reading()[0] == 302
    assert nothing_wrong()


def test_a_full_database_keeps_what_it_has_and_says_that_there_is_no_room(box: Box) -> None:
    before = box.kept()
    (pages,) = pragma("page_count")
    pragma(f"max_page_count = {pages}")
    refused = 0
    for number in range(60):
        status, page = box.enter_reading(str(1900 + number), note="x" * 400)
        if status == 503:
            refused += 1
            assert is_plain(page)
            assert "no room left on its disk" in page
            break
        assert status == 302
    assert refused == 1
    stored = box.kept()
    assert stored[0] - before[0] == stored[1] - before[1], "a reading and its event are stored together or not at all"
    assert box.now_page()[0] == 200
    assert nothing_wrong()
    pragma("max_page_count = 1073741823")
    assert box.enter_reading("2000")[0] == 302
    assert nothing_wrong()


def test_a_photo_without_room_leaves_no_row_and_no_part_of_a_file(box: Box, monkeypatch: pytest.MonkeyPatch) -> None:
    """The error of the system is put in where the file is written out."""

    def full(_handle: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patch:
        patch.setattr("os.fsync", full)
        with pytest.raises(OSError, match="No space left"):
            evidence.accept(SimpleUploadedFile("plate.png", png()), site=box.site(), by=events.system("test"))
    assert not Evidence.objects.exists()
    left = [path for path in (box.made.folder / "evidence").rglob("*") if path.is_file()]
    assert left == []
    assert nothing_wrong()


def test_a_backup_that_meets_a_full_disk_says_so_and_takes_its_part_away(box: Box) -> None:
    """A process of its own, whose files the system stops at 64 KiB: the write fails in the middle with EFBIG."""
    noise = BytesIO()
    Image.frombytes("RGB", (256, 256), os.urandom(256 * 256 * 3)).save(noise, "PNG")
    evidence.accept(SimpleUploadedFile("noise.png", noise.getvalue()), site=box.site(), by=events.system("test"))
    connection.close()
    done = subprocess.run(
        kit.command("backup", "--to", str(box.made.folder / "out")), env=kit.environment(box.made.folder), text=True,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (LIMIT_BYTES, LIMIT_BYTES)), capture_output=True,
        check=False, timeout=60,
    )  # fmt: skip
    assert done.returncode == 1
    assert "The backup cannot be written to" in done.stderr
    assert "Give a folder with enough room by --to." in done.stderr
    assert "Traceback" not in done.stderr
    assert list((box.made.folder / "out").iterdir()) == []
    assert not Event.objects.filter(action="backup:made").exists()
    assert nothing_wrong()


def test_little_room_is_told_before_it_is_none(box: Box, settings: Any) -> None:
    Heartbeat.objects.create(name="jobs@box", beat_at=events.now(), started_at=events.now())
    assert box.ready()[1]["disk"]["ok"] is True
    settings.DISK_LEAST_MIB = 10**9
    status, parts = box.ready()
    assert status == 503
    assert "make room, or nothing can be recorded soon" in parts["disk"]["advice"]
