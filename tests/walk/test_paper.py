"""The blank sheet, and a check keyed in from paper."""

from __future__ import annotations

import base64
import re
import uuid
from datetime import timedelta
from typing import Any
from xml.etree import ElementTree
from zoneinfo import ZoneInfo

import pytest
from django.test import Client
from django.urls import reverse

from facility import events
from facility.models import Answer, Check, Event, Signature
from maintenance.models import BankReading
from tests import make
from tests.walk.conftest import client_of
from tests.walk.walking import World, begin, world

pytestmark = pytest.mark.django_db


def address(w: World, name: str = "paper") -> str:
    return reverse(f"walk:{name}", args=[w.site.key, w.sheet.pk, 1])


def done_at(w: World, hours: int) -> str:
    local = (events.now() - timedelta(hours=hours)).astimezone(ZoneInfo(w.site.zone))
    return f"{local.day} {local:%b %Y %H:%M}"


def written(w: World, hours: int = 20, **more: str) -> dict[str, str]:
    return {
        "client_id": str(uuid.uuid4()), "done_at": done_at(w, hours), "done_by": "K. Paper", "second": "L. Paper",
        "password": make.PASSWORD, "door.outcome": "good", "supply.value": "8,1", "speech.outcome": "good",
        "place.choice": "nothing",
    } | more  # fmt: skip


@pytest.fixture
def client(w: World) -> Client:
    client = Client()
    client.force_login(w.user)
    return client


def test_a_paper_check_is_stored_late_signed_and_counts_from_when_it_was_done(w: World, client: Client) -> None:
    page = client.post(address(w), written(w), follow=True)
    check = Check.objects.get()
    assert (check.on_paper, check.started_by, check.signed_by, check.result) == (
        True,
        "K. Paper",
        str(w.user),
        "passed",
    )
    assert check.signed_at is not None
    assert timedelta(hours=19, minutes=58) < events.now() - check.signed_at < timedelta(hours=20, minutes=2)
    assert set(Answer.objects.values_list("late", "second_person")) == {(True, ""), (True, "L. Paper")}
    signature = Signature.objects.get()
    assert "K. Paper" in signature.meaning
    assert signature.name == str(w.user)
    assert Event.objects.filter(action="signature given", late=True).count() == 1
    text = page.content.decode()
    assert "Keyed in from paper" in text
    assert "late entry" in text
    assert "void" not in text


def test_an_old_paper_never_looks_fresh_in_the_log(w: World, client: Client) -> None:
    client.post(address(w), written(w, hours=30))
    assert "ran out" in client.get(reverse("walk:log", args=[w.site.key])).content.decode()


def test_keying_in_the_same_page_twice_stores_it_once(w: World, client: Client) -> None:
    entry = written(w)
    client.post(address(w), entry)
    again = client.post(address(w), entry, follow=True)
    assert Check.objects.count() == 1
    assert "keyed in before" in again.content.decode()


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"password": "wrong"}, "is not the password of"),
        ({"supply.value": "1,234"}, "thousand separator"),
        ({"supply.value": "3000"}, "3000 bar?"),
        ({"second": ""}, "Name the second person"),
        ({"done_by": ""}, "required"),
        ({"done_at": "11/12/2026 10:00"}, "two readings"),
        ({"done_at": "27 Nov 2199 10:00"}, "in the future"),
    ],
)
def test_a_refused_paper_keeps_every_entry_on_the_page(
    w: World, client: Client, change: dict[str, str], says: str
) -> None:
    page = client.post(address(w), written(w) | {"door.note": "a bit worn"} | change)
    text = page.content.decode()
    assert page.status_code == 422
    assert says in text
    assert ('value="a bit worn"' in text and 'value="K. Paper"' in text) or "done_by" in change
    assert not Check.objects.exists()
    assert not Answer.objects.exists()


def test_an_odd_reading_is_taken_once_it_is_said_to_be_right(w: World, client: Client) -> None:
    client.post(address(w), written(w) | {"supply.value": "3000", "supply.sure": "on"})
    assert Check.objects.get().result == "failed"


def test_a_step_left_empty_on_paper_stays_open(w: World, client: Client) -> None:
    client.post(address(w), written(w) | {"supply.value": ""})
    assert Check.objects.get().result == "unread"


def test_a_paper_does_not_touch_the_check_that_is_open(w: World, client: Client) -> None:
    check = begin(w)
    client.post(address(w), written(w))
    assert Check.objects.count() == 2
    assert not Answer.objects.filter(check_done=check).exists()


def test_a_bank_read_on_paper_was_read_then() -> None:
    w = world(steps=[make.STEPS[1] | {"bank": "oxygen-1"}])
    make.bank(w.site, key="oxygen-1")
    client = client_of(w, "operator")
    entry = {name: text for name, text in written(w).items() if "." not in name or name.startswith("supply")}
    client.post(address(w), entry)
    reading = BankReading.objects.get()
    assert events.now() - reading.read_at > timedelta(hours=19)


@pytest.mark.parametrize(("role", "status"), [("operator", 200), ("tender", 403), ("inspector", 403)])
def test_who_may_key_in_and_sign(w: World, role: str, status: int) -> None:
    assert client_of(w, role).get(address(w)).status_code == status


def test_the_blank_sheet_has_the_same_numbers_and_a_code(w: World, client: Client) -> None:
    page = client.get(address(w, "blank"))
    text = page.content.decode()
    for words in ("1.1", "1.2", "2.1", "2.2", "Oxygen supply", "7.5 to 9.0 bar", "no longer in force"):
        assert (words in text) is (words != "no longer in force")
    code = re.search(r'src="(data:image/svg\+xml[^"]+)"', text)
    assert code is not None
    assert page.context["address"].endswith(address(w))
    ElementTree.fromstring(_svg_of(code[1]))  # noqa: S314  # made by the page under test


def _svg_of(data: str) -> str:
    from html import unescape
    from urllib.parse import unquote

    head, _comma, body = unescape(data).partition(",")
    return base64.b64decode(body).decode() if "base64" in head else unquote(body)


def test_an_old_version_is_printed_and_keyed_in_as_such(w: World, client: Client) -> None:
    from facility.walk.sheet_services import VersionDraft, save_version

    save_version(w.sheet, VersionDraft(make.STEPS[:1], "Ina Test", events.now(), "shorter", 1), by=w.by)
    assert "No longer in force" in client.get(address(w, "blank")).content.decode()
    assert "no longer in force" in client.get(address(w)).content.decode()
    client.post(address(w), written(w))
    assert Check.objects.get().version.version == 1


def test_a_scan_is_kept_with_the_check(w: World, client: Client) -> None:
    from tests.walk.pictures import upload_of

    entry: dict[str, Any] = written(w) | {"scan": upload_of("scan.png")}
    client.post(address(w), entry)
    check = Check.objects.get()
    assert check.scan is not None
    assert check.scan.media_type == "image/png"


def test_a_letter_that_no_database_keeps_is_refused_in_words_and_nothing_is_stored(w: World, client: Client) -> None:
    """PostgreSQL, character types: the character with code zero cannot be stored."""
    answer = client.post(address(w), written(w) | {"door.note": "hinge\0worn"})
    assert answer.status_code == 422
    assert "cannot be stored" in answer.content.decode()
    assert not Check.objects.exists()
