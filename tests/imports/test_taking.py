"""Taking an upload in by a job: in whose name, once, and whole or not at all."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest

from facility import events, services
from facility.imports import taking, waiting
from facility.imports.taking import Way
from facility.jobs import runner
from facility.jobs.queue import LONG, Kind
from facility.models import Event, Job, Membership, Person
from tests import make
from tests.imports.support import asked_for, grow_old, run_jobs

if TYPE_CHECKING:
    from pathlib import Path


pytestmark = [pytest.mark.django_db, pytest.mark.both]
PEOPLE = b"key,name\na-b,A\n"
MIXED = b"key,name\na-b,A\nB B,B\n"


@pytest.fixture(autouse=True)
def _data_folder(settings: Any, tmp_path: Path) -> None:
    settings.DATA_DIR = tmp_path


def test_it_may_take_minutes_and_runs_beside_the_quick_jobs() -> None:
    assert Kind.IMPORT in LONG


def test_the_rows_are_told_in_the_name_of_the_person_who_asked() -> None:
    site = make.site()
    person = make.supervisor(site)
    taking.ask(asked_for(PEOPLE, person, site))
    run_jobs()
    told = json.loads(Event.objects.get(action="imported").payload)
    assert (told["actor"], told["actor_id"], told["role"]) == (str(person), str(person.pk), "supervisor")
    assert told["session"] == "12345678"


def test_asked_twice_it_is_one_job_and_run_again_it_changes_nothing() -> None:
    site = make.site()
    asked = asked_for(PEOPLE, make.supervisor(site), site)
    assert taking.ask(asked) == taking.ask(asked)
    run_jobs()
    before = Event.objects.count()
    assert taking.run(asked, str) == "All rows were taken."
    assert (Person.objects.count(), Event.objects.count()) == (1, before)


def test_the_same_files_uploaded_twice_change_nothing_the_second_time() -> None:
    site = make.site()
    person = make.supervisor(site)
    taking.ask(asked_for(PEOPLE, person, site))
    taking.ask(asked_for(PEOPLE, person, site))
    run_jobs()
    assert [job.outcome for job in Job.objects.order_by("pk")] == [
        "All rows were taken.",
        "Nothing changed: all of this is already stored.",
    ]
    assert Event.objects.filter(action="imported").count() == 1


def test_a_fall_in_the_middle_stores_nothing_and_the_next_try_takes_all(monkeypatch: pytest.MonkeyPatch) -> None:
    """The report lies there already when the transaction is lost: it must not count."""
    site = make.site()
    taking.ask(asked_for(PEOPLE, make.supervisor(site), site))
    with monkeypatch.context() as fallen:
        fallen.setattr(Job, "save", _falls)
        run_claimed()
    assert not Person.objects.exists()
    job = Job.objects.get()
    assert (job.outcome, job.finished_at) == ("", None)
    Job.objects.update(due_at=events.now())
    run_jobs()
    assert Job.objects.get().outcome == "All rows were taken."
    assert Person.objects.count() == 1


def run_claimed() -> None:
    job = Job.objects.get()
    Job.objects.update(tries=1, lease_owner="test")
    job.tries, job.lease_owner = 1, "test"
    assert not runner.run(job, clock=events.now)


def _falls(*_words: object, **_named: object) -> None:
    raise OSError("the disk is full")


def test_killed_after_all_was_stored_the_next_try_tells_the_same() -> None:
    """The runner fell before it could note the end: the row still waits, the rows of the files are there."""
    site = make.site()
    asked = asked_for(PEOPLE, make.supervisor(site), site)
    taking.ask(asked)
    taking.run(asked, str)
    before = Event.objects.count()
    run_jobs()
    job = Job.objects.get()
    assert (job.outcome, job.finished_at is not None) == ("All rows were taken.", True)
    assert (Person.objects.count(), Event.objects.count()) == (1, before)


def test_who_has_lost_the_right_meanwhile_is_refused() -> None:
    site = make.site()
    person = make.supervisor(site)
    asked = asked_for(PEOPLE, person, site)
    taking.ask(asked)
    services.retire(Membership.objects.get(user=person), by=make.BY, reason="left")
    run_jobs()
    assert not Person.objects.exists()
    assert f"{person} may not import files here any more" in Job.objects.get().outcome


def test_a_closed_account_takes_nothing_in() -> None:
    site = make.site()
    person = make.user(is_superuser=True)
    taking.ask(asked_for(PEOPLE, person, site))
    person.is_active = False
    person.save()
    run_jobs()
    assert not Person.objects.exists()
    assert "is closed" in Job.objects.get().outcome


def test_files_that_are_gone_are_asked_for_again() -> None:
    site = make.site()
    asked = asked_for(PEOPLE, make.supervisor(site), site)
    taking.ask(asked)
    waiting.drop(asked.token)
    run_jobs()
    assert Job.objects.get().outcome == "Nothing was taken: the files are no longer kept here. Choose them again."


def test_each_file_and_every_fifty_lines_of_it_are_told(monkeypatch: pytest.MonkeyPatch) -> None:
    site = make.site()
    told: list[str] = []
    monkeypatch.setattr(taking, "TELL_SECONDS", -1.0)
    monkeypatch.setattr(waiting, "note_progress", lambda _token, _way, sentence: told.append(sentence))
    lines = b"".join(b"p-%d,P %d\n" % (number, number) for number in range(120))
    taking.run(asked_for(b"key,name\n" + lines, make.supervisor(site), site), str)
    assert told == ["people.csv: 120 lines", "people.csv: 50 of 120 lines", "people.csv: 100 of 120 lines"]


def test_tidying_leaves_what_a_job_still_needs() -> None:
    site = make.site()
    asked = asked_for(PEOPLE, make.supervisor(site), site)
    left = waiting.keep({"people.csv": PEOPLE})
    taking.ask(asked)
    grow_old()
    assert waiting.tidy() == 1
    assert waiting.are_there(asked.token)
    assert not waiting.are_there(left)


def test_a_report_reads_back_as_it_was_told() -> None:
    site = make.site()
    asked = asked_for(MIXED, make.supervisor(site), site, Way.TRY)
    taking.run(asked, str)
    report = taking.report_of(asked)
    assert report is not None
    assert report.as_text().splitlines()[0] == "Dry run: nothing was stored."
    (problem,) = report.problems
    assert (problem.line, problem.column, problem.value) == (3, "key", "B B")
    assert report.counts["people.csv"].refused == 1


@pytest.mark.parametrize("token", ["", "../../x", "0" * 31, "0" * 31 + "/"])
def test_what_is_no_token_never_becomes_a_path(token: str) -> None:
    assert not waiting.are_there(token)
    assert waiting.fetch(token) is None
    assert waiting.report_of(token, "all") is None
    assert waiting.report_of("0" * 32, "../x") is None
