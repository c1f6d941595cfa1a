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
from facility.jobs import runner
from facility.jobs.queue import Daily, Kind, enqueue_daily
from facility.models import Event, Job
from facility.trust import checkpoints, looking
from facility.trust import copies as heads
from tests import make

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.both]
BY = events.system("test")


@pytest.fixture
def newest(folder: Path) -> Path:
    """A sealed file as the scheduled job leaves it."""
    store.folder().mkdir()
    path = store.free_path(store.folder(), events.now())
    path.write_bytes(b"sealed")
    return path


def told(action: str) -> list[dict[str, str]]:
    return [json.loads(row.payload)["after"] for row in Event.objects.filter(action=action).order_by("seq")]


def catch_up() -> list[copies.Copied]:
    return copies.catch_up(lambda _sentence: None, by=BY)


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
    program = tmp_path / "take it.py"
    program.write_text(
        "import os, shutil, sys\n"
        "assert not [name for name in os.environ if name.startswith('DEEPSTEAD_')]\n"
        "shutil.copy(sys.argv[2], sys.argv[1])\n"
    )
    away = tmp_path / "away"
    settings.BACKUP_COMMAND = shlex.join([sys.executable, str(program), str(away)])
    assert catch_up() == [copies.Copied("command", taken=True, told="taken by the command")]
    assert away.read_bytes() == b"sealed"
    assert catch_up() == []


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
