"""Taking an upload in by a job: in whose name, once, whole or not at all, and what its page tells meanwhile."""

from __future__ import annotations

import json
import os
import time
from typing import TYPE_CHECKING, Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from facility import events, services
from facility.imports import taking, waiting
from facility.imports.taking import Asked, Way
from facility.jobs import again, runner
from facility.jobs.queue import LONG, Kind
from facility.models import Event, Job, Membership, Person
from tests import make
from tests.imports.support import facility, run_jobs

if TYPE_CHECKING:
    from pathlib import Path

    from django.test import Client

    from facility.models import Site, User

pytestmark = [pytest.mark.django_db, pytest.mark.both]
PEOPLE = b"key,name\na-b,A\n"
MIXED = b"key,name\na-b,A\nB B,B\n"


@pytest.fixture(autouse=True)
def _data_folder(settings: Any, tmp_path: Path) -> None:
    settings.DATA_DIR = tmp_path


def asked_for(content: bytes, user: User, site: Site, way: Way = Way.ALL) -> Asked:
    return Asked(waiting.keep({"people.csv": content}), way, user.pk, site.pk, "12345678")


def sent(client: Client, site: Site, content: bytes) -> Any:
    chosen = {"chosen": [SimpleUploadedFile("people.csv", content)]}
    return client.post(reverse("imports:upload", args=[site.key]), chosen)


def page_of(site: Site) -> str:
    return reverse("imports:taking", args=[site.key, Job.objects.latest("pk").pk])


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


def test_large_files_are_tried_by_a_job_too(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(taking, "AT_ONCE_BYTES", 4)
    site = make.site()
    client.force_login(make.supervisor(site))
    answer = sent(client, site, PEOPLE)
    assert (answer.status_code, answer.headers["Location"]) == (302, page_of(site))
    waits = client.get(page_of(site))
    assert b"waits for its turn" in waits.content
    assert waits.headers["Refresh"] == "3"
    run_jobs()
    shown = client.get(page_of(site))
    assert b"Dry run: nothing was stored." in shown.content
    assert "Refresh" not in shown.headers
    assert not Person.objects.exists()
    client.post(reverse("imports:take", args=[site.key]), {"token": shown.context["take_form"].initial["token"]})
    run_jobs()
    assert b"All rows were taken." in client.get(page_of(site)).content
    assert Person.objects.count() == 1


def test_the_page_tells_how_far_it_is(client: Client) -> None:
    site = make.site()
    person = make.supervisor(site)
    client.force_login(person)
    asked = asked_for(PEOPLE, person, site)
    taking.ask(asked)
    Job.objects.update(tries=1)
    waiting.note_progress(asked.token, asked.way, "people.csv: 50 of 120 lines")
    assert b"people.csv: 50 of 120 lines" in client.get(page_of(site)).content


def test_each_file_and_every_fifty_lines_of_it_are_told(monkeypatch: pytest.MonkeyPatch) -> None:
    site = make.site()
    told: list[str] = []
    monkeypatch.setattr(taking, "TELL_SECONDS", -1.0)
    monkeypatch.setattr(waiting, "note_progress", lambda _token, _way, sentence: told.append(sentence))
    lines = b"".join(b"p-%d,P %d\n" % (number, number) for number in range(120))
    taking.run(asked_for(b"key,name\n" + lines, make.supervisor(site), site), str)
    assert told == ["people.csv: 120 lines", "people.csv: 50 of 120 lines", "people.csv: 100 of 120 lines"]


def test_a_refusal_names_row_and_column_and_the_good_rows_can_still_be_taken(client: Client) -> None:
    site = make.site()
    client.force_login(make.supervisor(site))
    tried = sent(client, site, MIXED)
    token = tried.context["take_form"].initial["token"]
    take = reverse("imports:take", args=[site.key])
    assert client.post(take, {"token": token}).status_code == 302
    run_jobs()
    refused = client.get(page_of(site))
    assert b"Nothing was taken: rows were refused." in refused.content
    assert b"people.csv, line 3, key" in refused.content
    assert not Person.objects.exists()
    client.post(take, {"token": refused.context["take_form"].initial["token"], "good_rows": "on"})
    run_jobs()
    assert b"The good rows were taken" in client.get(page_of(site)).content
    assert Person.objects.get().key == "a-b"


def test_taken_twice_by_a_double_press_it_leads_to_the_same_page(client: Client) -> None:
    site = make.site()
    client.force_login(make.supervisor(site))
    token = sent(client, site, PEOPLE).context["take_form"].initial["token"]
    take = reverse("imports:take", args=[site.key])
    first = client.post(take, {"token": token}).headers["Location"]
    run_jobs()
    assert client.post(take, {"token": token}).headers["Location"] == first
    assert Job.objects.count() == 1


def test_nobody_else_finds_the_report_of_an_import(client: Client) -> None:
    site, other = make.site(), make.site()
    person = make.supervisor(site)
    taking.ask(asked_for(PEOPLE, person, site))
    client.force_login(make.user(site, "director"))
    assert client.get(page_of(site)).status_code == 404
    services.add(Membership(user=person, site=other, role="supervisor"), by=make.BY)
    client.force_login(person)
    assert client.get(page_of(site)).status_code == 200
    assert client.get(page_of(other)).status_code == 404
    assert client.get(reverse("imports:taking", args=[site.key, 10**6])).status_code == 404


def test_the_upload_page_leads_back_to_the_newest_import(client: Client) -> None:
    site = make.site()
    person = make.supervisor(site)
    client.force_login(person)
    taking.ask(asked_for(PEOPLE, person, site))
    assert page_of(site).encode() in client.get(reverse("imports:upload", args=[site.key])).content


def test_a_job_given_up_says_that_nothing_is_half_stored_and_can_be_run_again(client: Client) -> None:
    site = make.site()
    person = make.supervisor(site)
    client.force_login(person)
    job = taking.ask(asked_for(PEOPLE, person, site))
    Job.objects.update(dead_at=events.now(), tries=5, error="OSError: the disk is full")
    answer = client.get(page_of(site))
    assert b"Nothing is half stored." in answer.content
    assert "Refresh" not in answer.headers
    assert again.run_again(job.pk, by=make.BY)
    run_jobs()
    assert Person.objects.count() == 1


def test_a_report_whose_day_is_over_leaves_its_sentence(client: Client) -> None:
    site = make.site()
    person = make.supervisor(site)
    client.force_login(person)
    taking.ask(asked_for(PEOPLE, person, site))
    run_jobs()
    grow_old()
    assert waiting.tidy() == 1
    answer = client.get(page_of(site))
    assert b"All rows were taken." in answer.content
    assert b"The report is kept for a day" in answer.content


def grow_old() -> None:
    old = time.time() - waiting.KEPT_SECONDS - 1
    for one in waiting._folder().iterdir():
        os.utime(one, (old, old))


def test_tidying_leaves_what_a_job_still_needs() -> None:
    site = make.site()
    asked = asked_for(PEOPLE, make.supervisor(site), site)
    left = waiting.keep({"people.csv": PEOPLE})
    taking.ask(asked)
    grow_old()
    assert waiting.tidy() == 1
    assert waiting.are_there(asked.token)
    assert not waiting.are_there(left)


def test_a_new_site_is_taken_in_for_the_first_account_alone(client: Client) -> None:
    first = make.user(is_superuser=True)
    asked = Asked(waiting.keep(facility()), Way.ALL, first.pk, None)
    job = taking.ask(asked)
    other = Asked(waiting.keep(facility()), Way.ALL, make.user(make.site(), "director").pk, None)
    refused = taking.ask(other)
    run_jobs()
    job.refresh_from_db()
    refused.refresh_from_db()
    assert job.outcome == "All rows were taken."
    assert "may not import files here any more" in refused.outcome
    client.force_login(first)
    assert b"All rows were taken." in client.get(reverse("imports:taking", args=[job.pk])).content


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
