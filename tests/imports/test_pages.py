"""The upload pages: who may, the dry run first, then "take it in"."""

from __future__ import annotations

import io
import zipfile
from typing import TYPE_CHECKING, Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from facility.imports import waiting
from facility.models import Event, HouseRule, Job, Person, Site
from tests import make
from tests.imports.support import facility, run_jobs

if TYPE_CHECKING:
    from pathlib import Path

    from django.test import Client

pytestmark = pytest.mark.django_db
PEOPLE = b"key,name\na-b,<script>alert(1)</script>\n"


@pytest.fixture(autouse=True)
def _data_folder(settings: Any, tmp_path: Path) -> None:
    settings.DATA_DIR = tmp_path


def files(**contents: bytes) -> dict[str, Any]:
    """Return a form with these files chosen."""
    return {"chosen": [SimpleUploadedFile(f"{name}.csv", content) for name, content in contents.items()]}


def test_a_supervisor_tries_and_then_takes(client: Client) -> None:
    site = make.site()
    client.force_login(make.supervisor(site))
    tried = client.post(reverse("imports:upload", kwargs={"site": site.key}), files(people=PEOPLE))
    assert tried.status_code == 200
    assert b"Dry run: nothing was stored." in tried.content
    assert not Person.objects.exists()
    token = tried.context["take_form"].initial["token"]
    asked = client.post(reverse("imports:take", kwargs={"site": site.key}), {"token": token})
    assert not Person.objects.exists()
    run_jobs()
    taken = client.get(asked.headers["Location"])
    assert b"All rows were taken." in taken.content
    assert Person.objects.get().name == "<script>alert(1)</script>"
    assert Event.objects.latest("seq").actor.startswith("Ina Test")
    assert waiting.fetch(token) is None


def test_a_refused_cell_is_shown_as_text(client: Client) -> None:
    site = make.site()
    client.force_login(make.supervisor(site))
    bad = b"key,name\n<img src=x>,A\n"
    answer = client.post(reverse("imports:upload", kwargs={"site": site.key}), files(people=bad))
    assert answer.status_code == 422
    assert b"<img src=x>" not in answer.content
    assert b"&lt;img src=x&gt;" in answer.content
    assert b"people.csv, line 2, key" in answer.content


def test_good_rows_are_taken_only_if_asked_for(client: Client) -> None:
    site = make.site()
    client.force_login(make.supervisor(site))
    mixed = b"key,name\na-b,A\nB B,B\n"
    tried = client.post(reverse("imports:upload", kwargs={"site": site.key}), files(people=mixed))
    token = tried.context["take_form"].initial["token"]
    take = reverse("imports:take", kwargs={"site": site.key})
    assert client.post(take, {"token": token}).status_code == 302
    run_jobs()
    assert not Person.objects.exists()
    assert client.post(take, {"token": token, "good_rows": "on"}).status_code == 302
    run_jobs()
    assert Person.objects.get().key == "a-b"


def test_a_role_without_the_act_is_turned_away(client: Client) -> None:
    site = make.site()
    address = reverse("imports:upload", kwargs={"site": site.key})
    assert client.get(address).status_code == 302
    client.force_login(make.user(site, "tender"))
    assert client.get(address).status_code == 403
    client.force_login(make.user(make.site(), "director"))
    assert client.get(address).status_code == 404


def test_a_role_may_import_only_what_it_may_keep(client: Client) -> None:
    site = make.site()
    client.force_login(make.user(site, "maintainer"))
    rules = b"key,value,approved_by,in_force_from\ncheck_age_min,9999,me,2026-01-01 09:00\n"
    answer = client.post(reverse("imports:upload", kwargs={"site": site.key}), files(house_rules=rules, people=PEOPLE))
    assert answer.status_code == 422
    assert b"your roles at this site do not allow this" in answer.content
    token = answer.context["take_form"].initial["token"]
    client.post(reverse("imports:take", kwargs={"site": site.key}), {"token": token, "good_rows": "on"})
    run_jobs()
    assert not HouseRule.objects.exists()
    assert not Person.objects.exists()


def test_a_new_site_needs_somebody_who_may_do_everything(client: Client) -> None:
    client.force_login(make.user(make.site(), "director"))
    assert client.get(reverse("imports:upload")).status_code == 403
    client.force_login(make.user(is_superuser=True))
    assert client.get(reverse("imports:upload")).status_code == 200
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        for name, content in facility().items():
            archive.writestr(f"lake/{name}", content)
    chosen = {"chosen": [SimpleUploadedFile("lake.zip", buffer.getvalue())]}
    tried = client.post(reverse("imports:upload"), chosen)
    assert tried.status_code == 200
    client.post(reverse("imports:take"), {"token": tried.context["take_form"].initial["token"]})
    run_jobs()
    assert Site.objects.filter(key="minnewater").exists()


def test_another_sites_file_is_refused(client: Client) -> None:
    site = make.site()
    client.force_login(make.user(site, "director"))
    answer = client.post(
        reverse("imports:upload", kwargs={"site": site.key}), files(site=facility()["site.csv"], people=PEOPLE)
    )
    assert answer.status_code == 422
    assert b"is another site than the one these files go to" in answer.content


def test_only_the_uploader_can_take(client: Client) -> None:
    site = make.site()
    client.force_login(make.supervisor(site))
    tried = client.post(reverse("imports:upload", kwargs={"site": site.key}), files(people=PEOPLE))
    token = tried.context["take_form"].initial["token"]
    client.force_login(make.supervisor(site))
    assert client.post(reverse("imports:take", kwargs={"site": site.key}), {"token": token}).status_code == 410
    assert client.post(reverse("imports:take", kwargs={"site": site.key}), {"token": "../../x"}).status_code == 410
    assert not Job.objects.exists()
    assert not Person.objects.exists()


@pytest.mark.parametrize(("name", "content", "words"), [
    ("a.zip", b"no zip", b"The zip cannot be read"),
    ("people.csv", b'key,name\n"a', b"Nothing was taken: the files cannot be read."),
])  # fmt: skip
def test_what_cannot_be_read_is_said(client: Client, name: str, content: bytes, words: bytes) -> None:
    site = make.site()
    client.force_login(make.supervisor(site))
    chosen = {"chosen": [SimpleUploadedFile(name, content)]}
    answer = client.post(reverse("imports:upload", kwargs={"site": site.key}), chosen)
    assert answer.status_code == 422
    assert words in answer.content


def test_no_file_chosen_is_said(client: Client) -> None:
    site = make.site()
    client.force_login(make.supervisor(site))
    answer = client.post(reverse("imports:upload", kwargs={"site": site.key}), {"x": "1"})
    assert answer.status_code == 422
    assert b"Choose the CSV files" in answer.content


def test_guide_and_templates_are_there_for_everybody_signed_in(client: Client) -> None:
    client.force_login(make.user(make.site(), "inspector"))
    guide = client.get(reverse("imports:guide"))
    assert b"qualification_kinds.csv" in guide.content
    assert b"month_dates" in guide.content
    answer = client.get(reverse("imports:templates"))
    with zipfile.ZipFile(io.BytesIO(answer.content)) as archive:
        assert archive.read("people.csv").startswith(b"key,name")
    assert answer.content == client.get(reverse("imports:templates")).content
