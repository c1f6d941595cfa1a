"""How far a long job is: in its row for the page, and on the command line of who runs it by hand."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

import pytest
from celery import shared_task
from django.core.management import call_command

from facility import events
from facility.backup import keys, making, trial
from facility.jobs import runner, tasks
from facility.jobs.progress import heard_by, telling
from facility.models import Job
from tests import make
from tests.imports.support import FOLDER

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = [pytest.mark.django_db, pytest.mark.both]


@shared_task(name="tests.long", bind=True)
def long(self: Any) -> str:
    tell = telling(self.request.id)
    for page in (1, 2, 3):
        tell(f"Page {page} of 3")
    return "All pages."


def job() -> Job:
    return Job.objects.create(kind="tidy", made_at=make.NOON, due_at=make.NOON)


def test_the_row_tells_how_far_it_is_at_most_once_a_second(monkeypatch: pytest.MonkeyPatch) -> None:
    seconds = iter([100.0, 100.9, 101.0])
    monkeypatch.setattr(events, "steady_seconds", lambda: next(seconds))
    row, seen = job(), []
    tell = telling(f"job-{row.pk}-1")
    for sentence in ("One", "Two", "Three"):
        tell(sentence)
        row.refresh_from_db()
        seen.append(row.progress)
    assert seen == ["One", "One", "Three"]


def test_a_long_sentence_is_cut_to_its_column_and_a_task_without_a_row_tells_nobody() -> None:
    row = job()
    telling(f"job-{row.pk}-1")("x" * 900)
    row.refresh_from_db()
    assert row.progress == "x" * 200
    telling(None)("Nobody hears this.")


@pytest.mark.parametrize(("verbosity", "heard"), [(2, True), (1, False)])
def test_a_job_run_by_hand_prints_how_far_it_is(monkeypatch: pytest.MonkeyPatch, verbosity: int, heard: bool) -> None:
    """With --verbosity 2 or on a terminal; a log of a timer stays short."""
    monkeypatch.setitem(tasks.KINDS, "tidy", long)
    out, err = io.StringIO(), io.StringIO()
    call_command("run_job", "tidy", stdout=out, stderr=err, verbosity=verbosity)
    assert out.getvalue() == "All pages.\n"
    assert [f"Page {page} of 3" in err.getvalue() for page in (1, 2, 3)] == [heard] * 3


def test_who_hears_a_job_by_hand_hears_no_other_job_afterwards(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(tasks.KINDS, "tidy", long)
    heard: list[str] = []
    with heard_by(heard.append):
        runner.run(job(), clock=lambda: make.NOON)
    runner.run(job(), clock=lambda: make.NOON)
    assert len(heard) == 3


def test_an_import_tells_each_file_with_its_lines() -> None:
    err = io.StringIO()
    call_command("import_facility", str(FOLDER), stdout=io.StringIO(), stderr=err, verbosity=2)
    people = len((FOLDER / "people.csv").read_text(encoding="utf-8").strip().splitlines()) - 1
    assert f"people.csv: {people} lines" in err.getvalue()


@pytest.mark.django_db(transaction=True)
def test_a_trial_passes_on_what_the_restore_says(settings: Any, tmp_path: Path) -> None:
    """The restore is a program of its own; its sentences and its last word are kept apart."""
    settings.DATA_DIR, settings.EVIDENCE_DIR = tmp_path, tmp_path / "evidence"
    call_command("import_facility", str(FOLDER), stdout=io.StringIO())
    key = keys.made_in(tmp_path)
    made = making.make(tmp_path / "out", key, by=make.BY)
    heard: list[str] = []
    found = trial.tried(made.path, key, by=make.BY, say=heard.append)
    assert found.well, found.told
    assert found.told.startswith("events ")
    assert "Reading the backup" in heard
    assert any(sentence.startswith("Building the report of ") for sentence in heard)
