"""A backup is made while others write; it holds one consistent state and nothing legible."""

from __future__ import annotations

import hashlib
import json
import re
import shutil
import subprocess
import threading
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from django.conf import settings as project
from django.core.management import call_command
from django.db import connection

from facility import record_check
from facility.backup import making, newest_age, scheduled, store
from facility.backup.faults import BackupError
from facility.backup.settings_kept import KEPT, NAMED_ONLY, as_environment
from facility.events import now
from facility.jobs import runner
from facility.jobs.queue import Kind, enqueue
from facility.models import Event, Evidence, Job
from tests import make
from tests.backup.kit import KEY, MARKER, ROOT, facility, plain, write_event

if TYPE_CHECKING:
    from facility.backup.making import Made

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.both]


def backup(folder: Path, **more: Any) -> Made:
    return making.make(folder / "out", KEY, by=make.BY, **more)


def rows(path: Path, table: str) -> list[dict[str, Any]]:
    return [json.loads(line) for line in plain(path).read(f"tables/{table}.jsonl").splitlines()]


def test_a_backup_taken_while_others_write_is_one_moment(folder: Path) -> None:
    """At each table somebody writes through a connection of their own; a thread writes all the time as well."""
    facility()
    stop, failed = threading.Event(), []

    def write_on() -> None:
        try:
            while not stop.wait(0.02):
                write_event("tried:beside")
        except Exception as error:
            failed.append(error)
        finally:
            connection.close()

    writer = threading.Thread(target=write_on)
    writer.start()
    try:
        made = backup(folder, say=lambda _sentence: write_event())
    finally:
        stop.set()
        writer.join(timeout=30)
    assert failed == []
    told, log = made.manifest, rows(made.path, "facility.event")
    assert len(log) == told.events == told.counts["facility.event"]
    assert Event.objects.count() > told.events + len(told.tables)
    assert log[-1]["seq"] == told.events
    assert chain_head([row["payload"] for row in log]) == told.head
    assert record_check.verify(at_least=(told.events, told.head)).ok


def chain_head(payloads: list[str]) -> str:
    """Return the head by the published recipe: SHA-256 (FIPS 180-4) over label, 00, previous digest and text."""
    digest = bytes(32)
    for payload in payloads:
        digest = hashlib.sha256(b"deepstead event v1\0" + digest + payload.encode()).digest()
    return digest.hex()


def test_every_row_of_every_table_is_inside_and_signed_in_browsers_are_not(folder: Path) -> None:
    facility()
    made = backup(folder)
    with connection.cursor() as cursor:
        tables = set(connection.introspection.table_names()) - {"django_migrations", "django_session"}
        assert len(made.manifest.tables) == len(tables)
        for table in ("facility_site", "maintenance_equipment", "facility_sheetversion", "auth_permission"):
            cursor.execute(f"SELECT COUNT(*) FROM {table}")  # noqa: S608 - names from above
            assert made.manifest.counts[table.replace("_", ".")] == cursor.fetchone()[0] > 0
    assert not [name for name in made.manifest.tables if "session" in name and "axes" not in name]


def test_tables_stand_after_those_that_they_refer_to(folder: Path) -> None:
    order = backup(folder).manifest.tables
    for first, second in [
        ("facility.organisation", "facility.site"), ("facility.site", "maintenance.equipment"),
        ("maintenance.equipment", "maintenance.workrecord"), ("treatments.plan", "treatments.plan_needs"),
        ("contenttypes.contenttype", "auth.permission"), ("facility.user", "facility.membership"),
    ]:  # fmt: skip
        assert order.index(first) < order.index(second)


def test_the_digests_of_the_manifest_are_those_of_the_members(folder: Path, tmp_path: Path) -> None:
    """Source: sha256sum of the GNU core utilities."""
    facility()
    made = backup(folder)
    program = shutil.which("sha256sum")
    assert program
    with plain(made.path) as archive:
        archive.extractall(tmp_path / "members")
        names = set(archive.namelist()) - {"manifest.json"}
    listed = "".join(f"{digest}  {name}\n" for name, digest in made.manifest.sha256.items())
    subprocess.run([program, "--check", "--strict"], input=listed, text=True, cwd=tmp_path / "members", check=True)
    assert set(made.manifest.sha256) == names
    assert f"evidence/{Evidence.objects.get().sha256}" in names


def test_nothing_of_a_record_can_be_read_in_the_file(folder: Path) -> None:
    facility()
    made = backup(folder)
    sealed = made.path.read_bytes()
    everything = b"".join(plain(made.path).read(name) for name in plain(made.path).namelist())
    for text in (MARKER.encode(), b"facility.event", b"PNG", made.manifest.head.encode(), KEY.secret):
        assert text not in sealed
    assert everything.count(MARKER.encode()) > 3
    assert made.path.stat().st_mode & 0o777 == 0o600


def test_secrets_are_not_inside_and_no_setting_that_may_hold_one_is(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("DEEPSTEAD_SECRET_KEY", "secret-of-this-box")
    monkeypatch.setenv("DEEPSTEAD_HOSTS", "chamber.example")
    archive = plain(backup(folder).path)
    assert json.loads(archive.read("settings.json"))["DEEPSTEAD_HOSTS"] == "chamber.example"
    for name in archive.namelist():
        for secret in (b"secret-of-this-box", KEY.secret.hex().encode(), project.SECRET_KEY.encode()):
            assert secret not in archive.read(name)
    assert [name for name in KEPT if re.search("KEY|TOKEN|PASSWORD|SECRET|URL|COMMAND", name)] == []
    assert set(json.loads(archive.read("settings.json"))) <= {*KEPT, *NAMED_ONLY}


def test_every_setting_is_kept_or_named_or_belongs_to_one_machine_alone() -> None:
    """A setting that nobody classed would be lost with the box without a word."""
    told = (ROOT / "facility/project/deploy/env.example").read_text()
    known = set(re.findall(r"^#(DEEPSTEAD_\w+)=", told, re.MULTILINE))
    of_this_machine = {"DEEPSTEAD_DATA", "DEEPSTEAD_DATABASE_URL", "DEEPSTEAD_SECRET_KEY", "DEEPSTEAD_APT"}
    of_developers = {"DEEPSTEAD_DEBUG", "DEEPSTEAD_LONG", "DEEPSTEAD_TEST_POSTGRES_URL"}
    assert known == {*KEPT, *NAMED_ONLY} | of_this_machine | of_developers


def test_what_holds_a_secret_is_named_for_whoever_puts_the_backup_back(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("DEEPSTEAD_EMAIL_HOST", "mail.example")
    monkeypatch.setenv("DEEPSTEAD_EMAIL_PASSWORD", "Quillback-secret")
    monkeypatch.setenv("DEEPSTEAD_API_TOKEN_FILE", "/run/secrets/token")
    text = plain(backup(folder).path).read("settings.json")
    assert b"Quillback-secret" not in text
    lines = as_environment(text).splitlines()
    assert "DEEPSTEAD_EMAIL_HOST=mail.example" in lines
    assert [line.partition("=")[0] for line in lines if "was set" in line] == [
        "#DEEPSTEAD_API_TOKEN", "#DEEPSTEAD_EMAIL_PASSWORD",
    ]  # fmt: skip


def test_that_it_was_made_is_an_event_with_the_head_for_outside(folder: Path) -> None:
    facility()
    made = backup(folder)
    event = Event.objects.get(action="backup:made")
    assert json.loads(event.payload)["after"] == {
        "file": made.path.name,
        "events": str(event.seq - 1),
        "head": made.manifest.head,
    }


def test_a_missing_file_is_named_and_does_not_stop_the_backup(folder: Path) -> None:
    facility()
    stored = Evidence.objects.get()
    (folder / "evidence" / stored.sha256[:2] / stored.sha256).write_bytes(b"damaged")
    made = backup(folder)
    assert made.manifest.missing == [stored.sha256]
    assert f"evidence/{stored.sha256}" not in plain(made.path).namelist()


def test_a_backup_that_fails_leaves_no_file_and_no_event(folder: Path) -> None:
    def pull_the_stick(sentence: str) -> None:
        if sentence.startswith("Table 9 "):
            raise OSError(28, "No space left on device")

    with pytest.raises(BackupError, match="out: No space left on device. Give a folder with enough room by --to"):
        backup(folder, say=pull_the_stick)
    assert list((folder / "out").iterdir()) == []
    assert not Event.objects.exists()


def test_a_place_that_is_no_folder_is_refused_in_one_sentence(folder: Path, tmp_path: Path) -> None:
    place = tmp_path / "a-file"
    place.write_text("no folder")
    with pytest.raises(BackupError, match="a-file: .* Give a folder with enough room by --to"):
        making.make(place, KEY, by=make.BY)
    assert place.read_text() == "no folder"


def test_the_path_is_the_last_line(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    call_command("backup", to=folder / "out")
    path = Path(capsys.readouterr().out.splitlines()[-1])
    assert path.parent == folder / "out"
    assert store.NAMED.fullmatch(path.name)


def test_the_scheduled_job_makes_copies_prunes_and_shows_its_progress(
    folder: Path, settings: Any, tmp_path: Path
) -> None:
    settings.BACKUP_COPIES = [tmp_path / "stick"]
    (tmp_path / "stick").mkdir()
    store.folder().mkdir()
    for day in range(1, 32):
        (store.folder() / f"deepstead-2020-01-{day:02}T020000Z.backup").touch()
    job = runner.claim_this(enqueue(Kind.BACKUP), "test", now=now())
    assert job is not None
    assert runner.run(job, clock=now), Job.objects.get(pk=job.pk).error
    done = Job.objects.get(pk=job.pk)
    assert re.match(r"Made \S+ with 0 events. Copied to .*stick. Removed 2\d old ones.$", done.outcome)
    assert done.progress.startswith("Table 1 of ")
    assert [path.name for path in (tmp_path / "stick").iterdir()] == [done.outcome.split()[1]]
    age = newest_age(now())
    assert age is not None
    assert age.total_seconds() < 60


def test_a_stick_that_is_not_plugged_in_is_said(folder: Path, settings: Any, tmp_path: Path) -> None:
    settings.BACKUP_COPIES = [tmp_path / "stick"]
    assert f"No copy in {tmp_path / 'stick'}: it is not there." in scheduled.run()
