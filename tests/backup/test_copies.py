"""Further copies: into places that come and go, by a command of the house, tried again until it is done."""

from __future__ import annotations

import json
import shlex
import sys
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import pytest

from facility import events
from facility.backup import copies, scheduled, store
from facility.backup.keys import Key
from facility.backup.sealing import Sealer
from facility.jobs import runner
from facility.jobs.queue import Daily, Kind, enqueue_daily
from facility.models import Event, Job
from facility.trust import checkpoints, looking
from facility.trust import copies as heads
from tests import make
from tests.backup.kit import KEY

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.both]
BY = events.system("test")
OTHERS_KEY = Key(bytes(range(32, 64)))


@pytest.fixture
def newest(folder: Path) -> Path:
    """A sealed file as the scheduled job leaves it."""
    store.folder().mkdir()
    path = store.free_path(store.folder(), events.now())
    path.write_bytes(b"sealed")
    return path


def sealed(path: Path, key: Key) -> Path:
    """Write a sealed file without records."""
    with path.open("wb") as file:
        Sealer(file, key).close()
    return path


def told(action: str) -> list[dict[str, str]]:
    return [json.loads(row.payload)["after"] for row in Event.objects.filter(action=action).order_by("seq")]


def catch_up() -> list[copies.Copied]:
    return copies.catch_up(lambda _sentence: None, by=BY)


def taken_to(away: Path, settings: Any) -> Path:
    """Let the command of the house copy what it is given into a folder, and refuse to see a setting of ours."""
    away.mkdir()
    program = away.with_name("take it.py")
    program.write_text(
        "import os, shutil, sys\n"
        "assert not [name for name in os.environ if name.startswith('DEEPSTEAD_')]\n"
        "shutil.copy(sys.argv[2], sys.argv[1])\n"
    )
    settings.BACKUP_COMMAND = shlex.join([sys.executable, str(program), str(away)])
    return away


def test_a_stick_and_a_share_each_get_the_file_when_they_are_there(newest: Path, tmp_path: Path, settings: Any) -> None:
    settings.BACKUP_COPIES = [tmp_path / "stick", tmp_path / "share"]
    (tmp_path / "stick").mkdir()
    assert [(one.taken, one.told) for one in catch_up()] == [(True, "copied"), (False, "it is not there")]
    assert (tmp_path / "stick" / newest.name).read_bytes() == b"sealed"
    (tmp_path / "share").mkdir()
    assert [one.place for one in catch_up()] == [str(tmp_path / "share")]
    assert (tmp_path / "share" / newest.name).read_bytes() == b"sealed"
    assert catch_up() == []
    assert [row["to"] for row in told("backup:copied")] == [str(tmp_path / "stick"), str(tmp_path / "share")]


def test_the_newest_signed_head_lies_beside_each_copy_and_is_told(newest: Path, tmp_path: Path, settings: Any) -> None:
    """Who changes the log later cannot reach the head on a stick that was unplugged."""
    make.site()
    head = checkpoints.make("test")
    settings.BACKUP_COPIES = [tmp_path / "stick", tmp_path / "share"]
    for place in settings.BACKUP_COPIES:
        place.mkdir()
    name = f"checkpoint-{head.size}.note"
    assert {one.told for one in catch_up()} == {f"copied, with the signed head {name}"}
    assert {(place / name).read_text() for place in settings.BACKUP_COPIES} == {head.note}
    head.refresh_from_db()
    assert [one["place"] for one in head.copied] == [str(place) for place in settings.BACKUP_COPIES]
    assert looking.look() == []


def test_a_copy_counts_though_its_head_could_not_be_written(
    newest: Path, tmp_path: Path, settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_folder: Path) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(heads, "write_beside", full)
    settings.BACKUP_COPIES = [tmp_path / "stick"]
    (tmp_path / "stick").mkdir()
    (one,) = catch_up()
    assert one.taken
    assert one.told == "copied, without the signed head of the log: No space left on device"


def test_boxes_that_share_a_folder_keep_each_others_backups(tmp_path: Path, settings: Any, folder: Path) -> None:
    """Two boxes make theirs each night at the same second; none may take the other's place or remove it."""
    share = tmp_path / "share"
    share.mkdir()
    settings.BACKUP_COPIES = [share]
    store.folder().mkdir()
    made_at = datetime(2026, 3, 10, 2, tzinfo=UTC)
    name = store.free_path(share, made_at).name
    others = [sealed(share / name, OTHERS_KEY)]
    others += [sealed(store.free_path(share, made_at + timedelta(hours=hour)), OTHERS_KEY) for hour in range(1, 9)]
    before = {path: path.read_bytes() for path in others}
    own = sealed(store.folder() / name, KEY)
    assert catch_up()[0].taken
    assert {path: path.read_bytes() for path in before} == before
    (copied,) = set(share.glob("*.backup")) - set(others)
    assert copied.read_bytes() == own.read_bytes()
    newer = sealed(store.free_path(store.folder(), made_at + timedelta(hours=3)), KEY)
    assert catch_up()[0].taken
    left = set(share.glob("*.backup")) - set(others)
    assert [path.read_bytes() for path in left] == [newer.read_bytes()]  # of its own only the last of a day stays
    assert {path: path.read_bytes() for path in before} == before


def test_the_head_of_another_box_in_the_same_folder_stays_and_ours_lies_beside_it(newest: Path, tmp_path: Path) -> None:
    make.site()
    head = checkpoints.make("test")
    theirs = tmp_path / f"checkpoint-{head.size}.note"
    theirs.write_text("of another box")
    ours = heads.write_beside(tmp_path)
    assert ours == tmp_path / f"checkpoint-{head.size}-2.note"
    assert (theirs.read_text(), ours.read_text()) == ("of another box", head.note)
    assert heads.write_beside(tmp_path) == ours


def test_a_place_that_stays_away_is_one_event_however_often_it_is_tried(
    newest: Path, tmp_path: Path, settings: Any
) -> None:
    settings.BACKUP_COPIES = [tmp_path / "stick"]
    for _ in range(3):
        catch_up()
    assert told("backup:not-copied") == [
        {"file": newest.name, "to": str(tmp_path / "stick"), "told": "it is not there"}
    ]


def test_the_command_gets_the_file_last_and_nothing_of_our_settings(
    newest: Path, tmp_path: Path, settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("DEEPSTEAD_SECRET_KEY", "of-this-box")
    away = taken_to(tmp_path / "away", settings)
    assert catch_up() == [copies.Copied("command", taken=True, told="taken by the command")]
    assert (away / newest.name).read_bytes() == b"sealed"
    assert catch_up() == []


def test_the_command_gets_the_newest_signed_head_too(newest: Path, tmp_path: Path, settings: Any) -> None:
    make.site()
    head = checkpoints.make("test")
    away = taken_to(tmp_path / "away", settings)
    name = f"checkpoint-{head.size}.note"
    assert [one.told for one in catch_up()] == [f"taken by the command, with the signed head {name}"]
    assert {path.name for path in away.iterdir()} == {newest.name, name}
    assert (away / name).read_text() == head.note
    assert [one.where for one in heads.newest_by_place()] == ["command"]


def test_a_backup_that_the_command_took_counts_though_it_did_not_take_the_head(
    newest: Path, tmp_path: Path, settings: Any
) -> None:
    make.site()
    checkpoints.make("test")
    only_backups = "import sys; sys.argv[1].endswith('.note') and sys.exit('no notes here')"
    settings.BACKUP_COMMAND = shlex.join([sys.executable, "-c", only_backups])
    (one,) = catch_up()
    assert (one.taken, one.told) == (True, "taken by the command, without the signed head of the log: no notes here")
    assert heads.newest_by_place() == []


@pytest.mark.parametrize(
    ("line", "why"),
    [
        (["-c", "import sys; sys.exit('no route to host')"], "no route to host"),
        (["-c", "import sys; sys.exit(7)"], "it ended with code 7"),
        (["-c", "import time; time.sleep(60)"], "the command was stopped after 1 s"),
        (None, "the command cannot be started"),
    ],
)
def test_a_command_that_does_not_end_well_says_why(
    newest: Path, settings: Any, monkeypatch: pytest.MonkeyPatch, line: list[str] | None, why: str
) -> None:
    monkeypatch.setattr(copies, "LONGEST_S", 1)
    settings.BACKUP_COMMAND = shlex.join([sys.executable, *line]) if line else "/nowhere/at-all"
    (one,) = catch_up()
    assert (one.taken, copies.is_taken(newest.name, "command")) == (False, False)
    assert why in one.told


def test_what_could_not_be_taken_is_tried_again_by_a_job_until_it_is(
    newest: Path, tmp_path: Path, settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings.BACKUP_COPIES = [tmp_path / "share"]
    assert scheduled.copy_again(newest.name, 1) == f"No copy in {tmp_path / 'share'}: it is not there."
    (job,) = Job.objects.all()
    assert (job.kind, job.arguments) == (Kind.COPY_BACKUP, {"file": newest.name, "number": 2})
    assert job.due_at - events.now() > timedelta(minutes=29)
    (tmp_path / "share").mkdir()
    taken = runner.claim_this(job, "test", now=events.now())
    assert taken is not None
    assert runner.run(taken, clock=events.now)
    job.refresh_from_db()
    assert job.outcome == f"Copied to {tmp_path / 'share'}."
    assert Job.objects.count() == 1
    assert scheduled.copy_again(newest.name, 2) == "Every place has it already."


def test_a_newer_backup_ends_the_tries_of_the_older_one(newest: Path, tmp_path: Path, settings: Any) -> None:
    settings.BACKUP_COPIES = [tmp_path / "share"]
    assert scheduled.copy_again("deepstead-2020-01-01T020000Z.backup", 4) == (
        "A newer backup has come; its own copies count."
    )
    assert not Job.objects.exists()


def test_a_list_of_copies_that_was_damaged_means_that_nothing_was_taken(
    newest: Path, tmp_path: Path, settings: Any
) -> None:
    settings.BACKUP_COPIES = [tmp_path]
    (store.folder() / copies.LIST).write_text("{half")
    assert copies.lacking() == [str(tmp_path)]
    assert [one.taken for one in catch_up()] == [True]


def test_the_trial_is_due_once_a_week() -> None:
    """22 November 2026 is a Sunday (calendar)."""
    plan = [Daily(Kind.TRY_BACKUP, at=datetime(2026, 1, 1, 2, 15).time(), weekday=6)]  # noqa: DTZ001 - a time of day
    saturday = datetime(2026, 11, 21, 3, tzinfo=UTC)
    found = [enqueue_daily(plan, now=saturday + timedelta(days=number)) for number in range(9)]
    assert found == [0, 1, 0, 0, 0, 0, 0, 0, 1]
