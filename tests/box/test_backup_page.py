"""The page of the backups: what there is and is not, in plain words, for first accounts only."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import pytest
from django.db import transaction
from django.test import Client
from django.urls import reverse

from facility import events
from facility.backup import keys, store, trial
from facility.jobs.queue import Kind
from facility.models import Event, Job, User
from tests import make

if TYPE_CHECKING:
    from datetime import datetime
    from pathlib import Path

pytestmark = [pytest.mark.django_db, pytest.mark.both]
PAGE = "/box/backups/"


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, settings: Any, monkeypatch: pytest.MonkeyPatch) -> Path:
    settings.DATA_DIR = tmp_path
    settings.BACKUP_COPIES, settings.BACKUP_COMMAND = [], ""
    monkeypatch.setattr(events, "now", lambda: make.NOON)
    return tmp_path


@pytest.fixture
def client() -> Client:
    """A client in which a first account is signed in."""
    found = Client()
    found.force_login(
        User.objects.create(username="first", is_superuser=True), "django.contrib.auth.backends.ModelBackend"
    )
    return found


def shown(client: Client) -> str:
    answer = client.get(PAGE)
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def put(at: datetime) -> Path:
    store.folder().mkdir(exist_ok=True)
    path = store.free_path(store.folder(), at)
    path.write_bytes(b"s" * 2048)
    return path


def test_with_nothing_it_says_what_is_missing(client: Client) -> None:
    page = shown(client)
    for words in ("There is no backup yet.", "No backup was tried yet.", "All copies lie on this machine only."):
        assert words in page


def test_each_file_has_its_age_size_and_copies(client: Client, settings: Any, tmp_path: Path) -> None:
    from facility.backup import copies

    settings.BACKUP_COPIES = [tmp_path / "stick"]
    (tmp_path / "stick").mkdir()
    path = put(make.NOON - timedelta(hours=3))
    assert "lacks the newest; it is tried again every half hour" in shown(client)
    copies.catch_up(lambda _sentence: None, by=make.BY)
    page = shown(client)
    assert path.name in page
    assert "2.0 KB" in page
    assert "has the newest" in page
    assert "The newest is 3 h 00 old." in page
    assert f"{tmp_path / 'stick'}</td>" in page


def test_the_last_trial_is_told_with_whether_its_signature_holds(client: Client) -> None:
    put(make.NOON)
    told = {
        "at": "t",
        "file": "f.backup",
        "key": "k",
        "report": "Report built.",
        "result": "restored",
        "told": "events 3",
    }
    for after, words in [
        (trial.signed(told), "f.backup can be put back."),
        (trial.signed(told) | {"told": "events 4"}, "without a signature that holds"),
        (trial.signed(told | {"result": "failed"}), "f.backup could NOT be put back."),
    ]:
        with transaction.atomic():
            events.record(None, events.What("backup:tried", after=after), by=make.BY)
        assert words in shown(client)


def test_one_can_be_asked_for_and_asking_twice_makes_one(client: Client) -> None:
    for _ in range(2):
        assert client.post(reverse("box:ask_backup"), {"what": "make"}).status_code == 302
    assert [job.kind for job in Job.objects.all()] == [Kind.BACKUP]
    (event,) = Event.objects.filter(action="backup:asked")
    assert (event.actor, json.loads(event.payload)["after"]) == ("first", {"what": "backup"})
    assert "A backup is being made" in shown(client)
    client.post(reverse("box:ask_backup"), {"what": "try"})
    client.post(reverse("box:ask_backup"), {"what": "something else"})
    assert set(Job.objects.values_list("kind", flat=True)) == {Kind.BACKUP, Kind.TRY_BACKUP}


def test_the_key_is_named_by_its_number_and_never_shown(client: Client, folder: Path) -> None:
    key = keys.made_in(folder)
    page = shown(client)
    assert key.number.hex() in page
    assert key.secret.hex() not in page
    assert key.words.split()[0] + " " + key.words.split()[1] not in page


def test_who_is_no_first_account_sees_nothing_and_asks_for_nothing(client: Client) -> None:
    other = Client()
    other.force_login(make.user(make.site(), "director"), "django.contrib.auth.backends.ModelBackend")
    assert other.get(PAGE).status_code == 403
    assert other.post(reverse("box:ask_backup"), {"what": "make"}).status_code == 403
    assert not Job.objects.exists()
