"""Putting a backup back on an empty machine: the same head, the same rows, or nothing and a sentence."""

from __future__ import annotations

import fcntl
import json
import re
import resource
import shutil
import signal
import sqlite3
import subprocess
import time
from contextlib import closing
from typing import TYPE_CHECKING, Any

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from django.core.management import call_command
from django.core.management.base import CommandError

from facility import box_key, triggers
from facility.backup import making, manifest, trial
from facility.models import Event
from facility.readiness import shell
from tests import make
from tests.backup import kit
from tests.backup.kit import KEY, MARKER, key_file, manage, plain, sealed_again

if TYPE_CHECKING:
    from pathlib import Path

    from facility.backup.making import Made

#: the source of the backups is the test database
pytestmark = pytest.mark.django_db(transaction=True)
AT = "2026-03-12T12:00Z"
ROOM_BYTES = 400_000


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory, django_db_setup: None, django_db_blocker: Any) -> Any:
    """A backup of a small facility with a file, and what was answered there; the test database is empty again then."""
    place = tmp_path_factory.mktemp("made")
    with pytest.MonkeyPatch.context() as patch, django_db_blocker.unblock():
        from django.conf import settings

        patch.setattr(settings, "DATA_DIR", place)
        patch.setattr(settings, "EVIDENCE_DIR", place / "evidence")
        site = kit.facility()
        answers = shell.as_json(shell.asked(site.key, None, AT, make.NOON))
        done = making.make(place / "out", KEY, by=make.BY)
        triggers.drop()
        call_command("flush", interactive=False, verbosity=0)
    return done, site.key, answers


def restored(folder: Path, path: Path, tmp_path: Path) -> subprocess.CompletedProcess[str]:
    folder.mkdir(exist_ok=True)
    return manage(folder, "restore", str(path), "--key", str(key_file(tmp_path)))


def content(folder: Path, query: str) -> list[tuple[Any, ...]]:
    with closing(sqlite3.connect(folder / "deepstead.sqlite3")) as connection:
        return connection.execute(query).fetchall()


def holds_nothing(folder: Path) -> bool:
    """Whether no database, no file and nothing half done lies in a data folder."""
    return {path.name for path in folder.iterdir()} <= {"secret-key", "start.lock", "words.txt"}


@pytest.fixture(scope="module")
def put_back(made: Any, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, subprocess.CompletedProcess[str]]:
    """A folder into which the backup was put."""
    folder = tmp_path_factory.mktemp("put-back")
    return folder, manage(folder, "restore", str(made[0].path), "--key", "-", given=KEY.words)


def test_an_empty_machine_has_the_same_head_rows_files_and_answers(
    made: tuple[Made, str, str], put_back: tuple[Path, subprocess.CompletedProcess[str]]
) -> None:
    (backup, site, answers), (folder, done) = made, put_back
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines()[-1] == f"events {backup.manifest.events}, head {backup.manifest.head}"
    log = content(folder, "SELECT seq, digest FROM facility_event ORDER BY seq DESC LIMIT 1")
    assert log == [(backup.manifest.events, bytes.fromhex(backup.manifest.head))]
    assert content(folder, "SELECT COUNT(*) FROM facility_site WHERE name LIKE '%Ø 25 % „quoted“'") == [(1,)]
    assert content(folder, "PRAGMA foreign_key_check") == []
    (digest,) = content(folder, "SELECT sha256 FROM facility_evidence")[0]
    assert (folder / "evidence" / digest[:2] / digest).is_file()
    answered = json.loads(manage(folder, "readiness", site, "--at", AT, "--json").stdout)
    assert answered == json.loads(answers)
    assert answered["plans"]


def test_the_triggers_are_in_place_and_the_records_check(put_back: tuple[Path, Any]) -> None:
    folder, _done = put_back
    with closing(sqlite3.connect(folder / "deepstead.sqlite3")) as connection:
        for attack in ("UPDATE facility_event SET reason = 'x'", "DELETE FROM facility_event WHERE seq = 1"):
            with pytest.raises(sqlite3.IntegrityError, match="An event is kept for ever"):
                connection.execute(attack)
    checked = manage(folder, "check_records")
    assert (checked.returncode, checked.stdout.splitlines()[0]) == (0, "Nothing wrong was found.")


def test_what_comes_back_keeps_the_key_and_nothing_half_done(put_back: tuple[Path, Any]) -> None:
    folder, _done = put_back
    names = {path.name for path in folder.iterdir()}
    assert {"deepstead.sqlite3", "evidence", "backup-key"} <= names
    assert not [name for name in names if name.startswith(("restoring-", ".")) or name.endswith(("-wal", "-shm"))]
    assert (folder / "backup-key").read_text().strip() == KEY.secret.hex()
    assert (folder / "deepstead.sqlite3").stat().st_size > 0


def test_a_database_with_records_is_refused_and_untouched(
    made: tuple[Made, str, str], put_back: tuple[Path, Any], tmp_path: Path
) -> None:
    folder, before = put_back[0], (put_back[0] / "deepstead.sqlite3").read_bytes()
    done = restored(folder, made[0].path, tmp_path)
    assert done.returncode == 1
    assert "holds records already, and a backup is put only into an empty one. Name an empty folder" in done.stderr
    assert (folder / "deepstead.sqlite3").read_bytes() == before


@pytest.mark.parametrize("case", ["flipped", "wrong key", "other file", "count", "row", "newer"])
def test_what_cannot_be_trusted_is_refused_by_name_and_leaves_nothing(
    made: tuple[Made, str, str], tmp_path: Path, case: str
) -> None:
    folder = tmp_path / "empty"
    path, named = _untrusted(made[0], tmp_path, case)
    if case == "wrong key":
        folder.mkdir()
        done = manage(folder, "restore", str(path), "--key", "-", given="abandon " * 23 + "art")
    else:
        done = restored(folder, path, tmp_path)
    assert done.returncode == 1
    assert named in done.stderr
    assert "Traceback" not in done.stderr
    assert holds_nothing(folder)


def _untrusted(made: Made, tmp_path: Path, case: str) -> tuple[Path, str]:
    """Return a file that must be refused, and what the refusal must name."""
    target, archive, told = tmp_path / "wrong.backup", plain(made.path), made.manifest
    stated = json.loads(told.text())
    if case == "wrong key":
        return made.path, "Wrong key: the backup was sealed with key"
    if case == "flipped":
        damaged = bytearray(made.path.read_bytes())
        damaged[len(damaged) // 2] ^= 4
        target.write_bytes(bytes(damaged))
        return target, "Part 1 of the backup (bytes 67 to"
    if case == "other file":
        target.write_text("A letter.")
        return target, "This is no backup of Deepstead"
    if case == "count":
        stated["counts"]["facility.event"] += 1
        named = f"facility.event has {told.events} rows, the manifest says {told.events + 1}"
    elif case == "row":
        lines = archive.read("tables/facility.site.jsonl").replace(MARKER.encode(), b"Somewhere else")
        return (
            sealed_again(archive, {"tables/facility.site.jsonl": lines}, target),
            "The member tables/facility.site.jsonl has SHA-256",
        )
    else:
        stated["version"], named = "9.9.0", "it has the step facility.9999_later. Install version 9.9.0 or newer"
        stated["migrations"].append(["facility", "9999_later"])
    return sealed_again(archive, {manifest.NAME: json.dumps(stated).encode()}, target), named


def test_a_restore_that_is_killed_leaves_nothing_half_and_can_be_repeated(
    made: tuple[Made, str, str], tmp_path: Path
) -> None:
    folder = tmp_path / "empty"
    folder.mkdir()
    line = kit.command("restore", str(made[0].path), "--key", str(key_file(tmp_path)))
    with subprocess.Popen(line, env=kit.environment(folder), stdout=subprocess.DEVNULL) as process:
        last = time.monotonic() + 60
        while not _filling(folder) and process.poll() is None and time.monotonic() < last:
            time.sleep(0.02)
        assert process.poll() is None
        process.send_signal(signal.SIGKILL)
    assert list(folder.glob("restoring-*"))
    assert not (folder / "deepstead.sqlite3").exists()
    assert not (folder / "evidence").exists()
    done = restored(folder, made[0].path, tmp_path)
    assert done.returncode == 0, done.stderr
    assert not list(folder.glob("restoring-*"))
    assert content(folder, "SELECT COUNT(*) FROM facility_event") == [(made[0].manifest.events,)]


def _filling(folder: Path) -> bool:
    return any(path.stat().st_size > 100_000 for path in folder.glob("restoring-*.sqlite3*"))


def test_a_backup_from_an_older_state_is_brought_forward(
    made: tuple[Made, str, str], put_back: tuple[Path, Any], tmp_path: Path
) -> None:
    """The older state is made by the migrations' own way back: a column fewer, a table fewer."""
    older, newer = tmp_path / "older", tmp_path / "newer"
    shutil.copytree(put_back[0], older)
    assert manage(older, "migrate", "axes", "0008").returncode == 0
    made_there = manage(older, "backup", "--to", str(tmp_path / "out"))
    assert made_there.returncode == 0, made_there.stderr
    path = made_there.stdout.splitlines()[-1]
    newer.mkdir()
    done = manage(newer, "restore", path, "--key", str(older / "backup-key"))
    assert done.returncode == 0, done.stderr
    assert "axes_accessattemptexpiration" not in _tables(older)
    assert _tables(newer) == _tables(put_back[0])
    assert manage(newer, "migrate", "--check").returncode == 0
    assert int(done.stdout.split()[-3].rstrip(",")) >= made[0].manifest.events


def _tables(folder: Path) -> set[str]:
    return {name for (name,) in content(folder, "SELECT name FROM sqlite_master WHERE type = 'table'")}


@pytest.mark.both
def test_a_trial_is_kept_as_an_event_and_touches_nothing(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    site = kit.facility()
    path = making.make(folder / "out", KEY, by=make.BY).path
    before = {*Event.objects.values_list("seq", "digest")}, kit.equipment(site)
    call_command("restore", str(path), "--trial", "--key", str(key_file(folder)))
    assert "every table equal to its manifest, the records checked" in capsys.readouterr().out
    newest = Event.objects.latest("seq")
    told = json.loads(newest.payload)["after"]
    assert (newest.action, told["result"], told["file"]) == ("backup:tried", "restored", path.name)
    assert told["told"].startswith(f"events {newest.seq - 2}, head ")
    assert re.match(
        r"Readiness of 1 plan in 1 chamber computed. Report of \S+ built: \d{4,} bytes, SHA-256 [0-9a-f]{64}\.$",
        told["report"],
    )
    _is_signed(told)
    assert {*Event.objects.exclude(seq=newest.seq).values_list("seq", "digest")} == before[0]
    assert kit.equipment(site) == before[1]
    assert not list(folder.glob("trial-*"))


def _is_signed(told: dict[str, str]) -> None:
    """By the key of this box, over every field of the result; verified by the library, past our own code."""
    signed = {name: told[name] for name in ("at", "file", "key", "report", "result", "told")}
    text = json.dumps(signed, ensure_ascii=False, sort_keys=True, separators=(",", ":")).encode()
    key = Ed25519PublicKey.from_public_bytes(box_key.public_key())
    key.verify(bytes.fromhex(told["signature"]), b"deepstead trial v1\0" + text)
    assert trial.is_genuine(told)
    for name in signed:
        assert not trial.is_genuine(told | {name: told[name] + "x"})
    assert not trial.is_genuine(signed)


def test_a_trial_that_fails_is_kept_too(folder: Path, made: tuple[Made, str, str]) -> None:
    damaged = bytearray(made[0].path.read_bytes())
    damaged[-1] ^= 1
    (folder / "damaged.backup").write_bytes(bytes(damaged))
    with pytest.raises(CommandError, match="The trial failed: .*was changed or damaged"):
        call_command("restore", str(folder / "damaged.backup"), "--trial", "--key", str(key_file(folder)))
    told = json.loads(Event.objects.get().payload)["after"]
    assert told["result"] == "failed"
    assert "was changed or damaged" in told["told"]


def test_nothing_is_put_back_under_a_running_server(folder: Path, made: tuple[Made, str, str]) -> None:
    """A server holds the lock on its sign for as long as it lives."""
    with (folder / "running").open("w") as sign:
        fcntl.flock(sign, fcntl.LOCK_EX)
        with pytest.raises(
            CommandError, match="A server runs on .*running. Stop it first, then start this command again"
        ):
            call_command("restore", str(made[0].path), "--key", str(key_file(folder)))


def test_a_full_disk_stops_a_restore_in_one_sentence_and_leaves_nothing(
    made: tuple[Made, str, str], tmp_path: Path
) -> None:
    """A limit on the length of a file stops SQLite as a full disk does."""
    done = subprocess.run(
        kit.command("restore", str(made[0].path), "--key", "-"), env=kit.environment(tmp_path), input=KEY.words,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (ROOM_BYTES, ROOM_BYTES)),
        capture_output=True, text=True, check=False, timeout=120,
    )  # fmt: skip
    assert done.returncode == 1
    assert len(done.stderr.splitlines()) == 1
    assert f"Is there room in {tmp_path}" in done.stderr
    assert {path.name for path in tmp_path.iterdir()} == {"secret-key", "start.lock"}
