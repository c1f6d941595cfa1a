"""Many writers at once, writers killed in the middle, and a write-ahead log cut anywhere."""

from __future__ import annotations

import hashlib
import random
import shutil
import signal
import sqlite3
import subprocess
import time
from contextlib import closing
from typing import TYPE_CHECKING

import pytest
from django.db import connection

from facility import record_check, services
from facility.models import Event, Organisation
from tests.facility.events.store import BY, Store

if TYPE_CHECKING:
    from pathlib import Path

SEED = 20260312


def keys_of(store: Store) -> set[str]:
    return {str(key) for (key,) in store.rows("SELECT key FROM facility_organisation")}


def is_sound(store: Store) -> bool:
    """Return whether chain, columns and rows agree, and SQLite finds its file whole."""
    verdict = record_check.verify()
    assert verdict.faults + record_check.file_check() == ()
    assert verdict.count == len(keys_of(store)), "each organisation has one event and each event one organisation"
    return True


def test_eight_processes_append_fifty_each_without_a_gap(either: Store) -> None:
    writers = [either.writer(f"p{n}", "50", stdout=subprocess.PIPE, stderr=subprocess.PIPE) for n in range(8)]
    told = [writer.communicate(timeout=100) for writer in writers]
    assert [writer.returncode for writer in writers] == [0] * 8, [errors.decode()[-500:] for _out, errors in told]
    assert keys_of(either) == {f"p{process}-0-{n}" for process in range(8) for n in range(50)}
    seqs = [seq for (seq,) in either.rows("SELECT seq FROM facility_event ORDER BY seq")]
    assert seqs == list(range(1, 401))
    assert is_sound(either)


def test_twenty_threads_of_one_process_append_without_a_gap(either: Store) -> None:
    done = either.writer("t", "10", "20", stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    _out, errors = done.communicate(timeout=100)
    assert (done.returncode, errors.decode()) == (0, "")
    assert keys_of(either) == {f"t-{thread}-{n}" for thread in range(20) for n in range(10)}
    assert is_sound(either)


def test_writers_killed_at_any_moment_lose_no_acknowledged_row(sqlite_store: Store) -> None:
    """Two writers, SIGKILL at random times; a row printed as stored must be there afterwards."""
    moments = random.Random(SEED)  # noqa: S311  # repeatable, not secret
    acknowledged: set[str] = set()
    ends = time.monotonic() + 10
    rounds = 0
    while rounds < 3 or time.monotonic() < ends:
        rounds += 1
        files = [sqlite_store.folder / f"told-{rounds}-{n}" for n in range(2)]
        writers = [start_telling(sqlite_store, f"k{rounds}-{n}", file) for n, file in enumerate(files)]
        wait_for_first(files)
        for writer in writers:
            time.sleep(moments.uniform(0, 0.4))
            writer.send_signal(signal.SIGKILL)
            assert writer.wait(timeout=20) == -signal.SIGKILL
        told = [file.read_text().rpartition("\n")[0].splitlines() for file in files]
        acknowledged |= {key for keys in told for key in keys}
        assert acknowledged <= keys_of(sqlite_store)
        assert is_sound(sqlite_store)
    assert len(acknowledged) > 2 * rounds, "the writers wrote before they were killed"


def start_telling(store: Store, name: str, file: Path) -> subprocess.Popen[bytes]:
    with file.open("wb") as told:
        return store.writer(name, "0", stdout=told)


def wait_for_first(files: list[Path]) -> None:
    """Return once each writer has told of a row; fail after half a minute."""
    until = time.monotonic() + 30
    while not all(file.stat().st_size for file in files):
        assert time.monotonic() < until, "a writer did not start"
        time.sleep(0.01)


def test_a_write_ahead_log_cut_at_any_byte_opens_with_a_clean_beginning(sqlite_store: Store, tmp_path: Path) -> None:
    """As a power cut may leave it: 200 random lengths, half of them with garbage in the last 4 KiB."""
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        cursor.execute("PRAGMA wal_autocheckpoint=0")
    for n in range(60):
        services.add(Organisation(key=f"w-{n}", name=f"W {n}"), by=BY)
    whole = [(seq, bytes(digest)) for seq, digest in Event.objects.values_list("seq", "digest")]
    log = sqlite_store.file.with_name(sqlite_store.file.name + "-wal").read_bytes()
    assert len(log) > 200_000, "the events are in the write-ahead log"
    chance, lengths = random.Random(SEED), set()  # noqa: S311  # repeatable, not secret
    for n in range(200):
        cut = bytearray(log[: chance.randrange(len(log) + 1)])
        if n % 2:
            tail = min(4096, len(cut))
            cut[len(cut) - tail :] = chance.randbytes(tail)
        copy = tmp_path / f"cut-{n}.sqlite3"
        shutil.copyfile(sqlite_store.file, copy)
        copy.with_name(copy.name + "-wal").write_bytes(cut)
        lengths.add(clean_beginning(copy, whole))
        for left in tmp_path.glob("cut-*"):
            left.unlink()
    assert len(lengths) > 30, "the cuts met many different states"
    assert min(lengths) < 10
    assert max(lengths) > 50


def clean_beginning(file: Path, whole: list[tuple[int, bytes]]) -> int:
    """Return how many events a cut database opens with; they must be the first ones, rows and all."""
    with closing(sqlite3.connect(file)) as link:
        assert link.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        rows = link.execute("SELECT seq, digest, prev, payload FROM facility_event ORDER BY seq").fetchall()
        assert [(seq, digest) for seq, digest, _prev, _payload in rows] == whole[: len(rows)]
        assert link.execute("SELECT count(*) FROM facility_organisation").fetchone() == (len(rows),)
    before = bytes(32)
    for _seq, digest, prev, payload in rows:
        assert prev == before
        before = hashlib.sha256(b"deepstead event v1\0" + prev + payload.encode()).digest()
        assert digest == before
    return len(rows)


def test_sqlite_is_set_to_keep_the_last_commit(sqlite_store: Store) -> None:
    """Values from sqlite.org/pragma.html: synchronous 2 is FULL."""
    with connection.cursor() as cursor:
        found = {
            name: cursor.execute(f"PRAGMA {name}").fetchone()[0]
            for name in ("synchronous", "journal_mode", "recursive_triggers", "foreign_keys")
        }
    assert found == {"synchronous": 2, "journal_mode": "wal", "recursive_triggers": 1, "foreign_keys": 1}


def strace_works() -> bool:
    if shutil.which("strace") is None:
        return False
    return subprocess.run(["strace", "-f", "true"], capture_output=True, check=False).returncode == 0


@pytest.mark.skipif(
    not strace_works(), reason="strace is not installed, or may not trace here; the setting is tested above"
)
def test_each_commit_waits_for_the_disk(sqlite_store: Store, tmp_path: Path) -> None:
    counted = tmp_path / "calls"
    command = ["strace", "-f", "-e", "trace=fdatasync,fsync", "-o", str(counted)]
    writer = sqlite_store.writer("s", "100", before=command, stdout=subprocess.PIPE)
    out, _errors = writer.communicate(timeout=100)
    assert len(out.splitlines()) == 100
    syncs = [line for line in counted.read_text().splitlines() if "sync(" in line and line.endswith("= 0")]
    assert len(syncs) >= 100
