"""The pages of an import that a job takes in: how far it is, its report, and who finds them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from facility import events, services
from facility.imports import taking, waiting
from facility.imports.taking import Asked, Way
from facility.jobs import again
from facility.models import Job, Membership, Person
from tests import make
from tests.imports.support import asked_for, facility, grow_old, run_jobs

if TYPE_CHECKING:
    from pathlib import Path

    from django.test import Client

    from facility.models import Site

pytestmark = [pytest.mark.django_db, pytest.mark.both]
PEOPLE = b"key,name\na-b,A\n"
MIXED = b"key,name\na-b,A\nB B,B\n"


@pytest.fixture(autouse=True)
def _data_folder(settings: Any, tmp_path: Path) -> None:
    settings.DATA_DIR = tmp_path


def sent(client: Client, site: Site, content: bytes) -> Any:
    chosen = {"chosen": [SimpleUploadedFile("people.csv", content)]}
    return client.post(reverse("imports:upload", args=[site.key]), chosen)


def page_of(site: Site) -> str:
    return reverse("imports:taking", args=[site.key, Job.objects.latest("pk").pk])


def test_large_files_are_tried_by_a_job_too(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(taking, "AT_ONCE_BYTES", 4)
    site = make.site()
    client.force_login(make.supervisor(site))
    answer = sent(client, site, PEOPLE)
    assert (answer.status_code, answer.headers["Location"]) == (302, page_of(site))
    waits = client.get(page_of(site))
    assert b"Waits for its turn" in waits.content
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
