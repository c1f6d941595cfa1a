"""Near misses that nobody can take away, and records frozen around an event."""

from __future__ import annotations

import json
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from django.conf import LazySettings
from django.core.exceptions import ValidationError
from django.test import Client

from facility import box_key, events, services
from facility.evidence import path_of
from facility.models import Event, KeyUse, Site, SiteRole, User
from facility.trust import keys
from tests import make
from treatments.models import Freeze, NearMiss, NearMissAction
from treatments.reporting import freezing, near_misses

pytestmark = pytest.mark.django_db
BACKEND = "django.contrib.auth.backends.ModelBackend"


@pytest.fixture
def at() -> Site:
    return make.site()


@pytest.fixture(autouse=True)
def _own_folder(settings: LazySettings, tmp_path: Path) -> None:
    settings.DATA_DIR = tmp_path
    settings.EVIDENCE_DIR = tmp_path / "evidence"


def signed_in(person: User) -> Client:
    client = Client()
    client.force_login(person, backend=BACKEND)
    return client


def address(site: Site, rest: str) -> str:
    return f"/{site.key}/{rest}"


def test_a_nameless_report_needs_no_account_and_names_nobody(at: Site) -> None:
    answer = Client().post(address(at, "near-miss/"), {"what": "Lighter found in the outer lock", "reporter": ""})
    assert answer.status_code == 201
    found = NearMiss.objects.get()
    assert (found.number, found.recorded_by, found.reporter) == (1, "nameless report", "")
    told = json.loads(Event.objects.latest("seq").payload)
    assert (told["actor"], told["actor_id"], told["session"]) == ("nameless report", "", "")


def test_somebody_signed_in_who_leaves_the_name_empty_stays_nameless(at: Site) -> None:
    client = signed_in(make.user(at, SiteRole.TENDER))
    client.post(address(at, "near-miss/"), {"what": "Door nearly shut on a hose"})
    told = json.loads(Event.objects.latest("seq").payload)
    assert (told["actor"], told["actor_id"], told["session"]) == ("nameless report", "", "")


def test_a_report_with_a_name_is_that_persons(at: Site) -> None:
    person = make.user(at, SiteRole.TENDER)
    signed_in(person).post(address(at, "near-miss/"), {"what": "Wrong valve", "reporter": str(person)})
    assert json.loads(Event.objects.latest("seq").payload)["actor_id"] == str(person.pk)


def test_a_name_typed_by_a_stranger_is_kept_as_typed_and_not_as_the_actor(at: Site) -> None:
    Client().post(address(at, "near-miss/"), {"what": "Wrong valve", "reporter": "Somebody"})
    assert Event.objects.latest("seq").actor == "nameless report"


def test_a_day_after_today_is_refused_and_nothing_typed_is_lost(at: Site) -> None:
    answer = Client().post(address(at, "near-miss/"), {"what": "Slipped on the ladder", "happened_on": "1 Jan 2199"})
    assert answer.status_code == 422
    assert "Slipped on the ladder" in answer.content.decode()
    assert not NearMiss.objects.exists()


def test_a_flood_of_nameless_reports_is_stopped_and_says_what_to_do(at: Site) -> None:
    for number in range(near_misses.MOST_NAMELESS):
        near_misses.report(NearMiss(site=at, what=f"report {number}"), by=None)
    answer = Client().post(address(at, "near-miss/"), {"what": "one more"})
    assert answer.status_code == 429
    assert "sign in" in answer.content.decode()
    assert "one more" in answer.content.decode()
    assert NearMiss.objects.count() == near_misses.MOST_NAMELESS


def test_a_near_miss_is_closed_by_an_action_and_then_takes_no_more(at: Site) -> None:
    found = near_misses.report(NearMiss(site=at, what="Hand warmer in a pocket"), by=None)
    near_misses.act_on(found, NearMissAction(what="Screening told again", by_whom="Ina", closes=True), by=make.BY)
    assert near_misses.is_closed(found)
    with pytest.raises(ValidationError, match="is closed"):
        near_misses.act_on(found, NearMissAction(what="more", by_whom="Ina"), by=make.BY)


def test_no_page_deletes_or_corrects_a_near_miss(at: Site) -> None:
    found = near_misses.report(NearMiss(site=at, what="Hand warmer in a pocket"), by=None)
    client = signed_in(make.user(at, SiteRole.DIRECTOR))
    for verb in ("delete", "put", "patch"):
        getattr(client, verb)(address(at, f"near-misses/{found.pk}/"))
    found.refresh_from_db()
    assert found.is_current
    assert found.what == "Hand warmer in a pocket"


def test_the_csv_has_no_name_and_no_day_and_no_formula(at: Site) -> None:
    near_misses.report(NearMiss(site=at, what="=HYPERLINK()", reporter="Nora Marker", happened_on=make.DAY), by=make.BY)
    text = signed_in(make.user(at, SiteRole.DIRECTOR)).get(address(at, "near-misses/?as=csv")).content.decode()
    assert "Nora Marker" not in text
    assert str(make.DAY) not in text
    assert "'=HYPERLINK()" in text


def frozen(at: Site, **more: object) -> Freeze:
    wanted = Freeze(site=at, event_at=events.now() - timedelta(hours=1), why="Smoke in the plant room")
    for name, value in more.items():
        setattr(wanted, name, value)
    return freezing.freeze(wanted, by=make.BY)


def test_a_freeze_holds_the_entries_and_records_around_the_event(at: Site) -> None:
    item = make.equipment(at, tag="G-77")
    row = frozen(at)
    assert row.evidence is not None
    lines = [json.loads(line) for line in path_of(row.evidence.sha256).read_text().splitlines()]
    kept = {line["record"]: line["values"] for line in lines if "record" in line}
    assert kept[f"maintenance.equipment {item.pk}"]["tag"] == "G-77"
    entries = [line for line in lines if "entry" in line]
    assert len(entries) == row.manifest["entries"]
    assert {one["payload"] for one in entries} <= set(Event.objects.values_list("payload", flat=True))


def test_a_freeze_is_signed_so_that_a_general_library_agrees(at: Site) -> None:
    make.equipment(at)
    row = frozen(at)
    assert row.evidence is not None
    public = Ed25519PublicKey.from_public_bytes(bytes.fromhex(row.manifest["public_key"]))
    content = path_of(row.evidence.sha256).read_bytes()
    public.verify(bytes.fromhex(row.signature), b"deepstead freeze 1\0" + content)  # raises where it is not
    assert freezing.look_at(row) == freezing.Verdict(True, True, True, True, ())


def test_what_was_frozen_before_the_key_was_passed_on_is_still_by_this_box(
    at: Site, django_capture_on_commit_callbacks: Any
) -> None:
    make.equipment(at)
    row = frozen(at)
    with django_capture_on_commit_callbacks(execute=True):
        keys.rotate(KeyUse.LOG, by=make.BY, reason="yearly")
    assert bytes.fromhex(row.manifest["public_key"]) != box_key.public_key()
    assert freezing.look_at(row) == freezing.Verdict(True, True, True, True, ())


def test_a_changed_file_a_changed_record_and_a_lost_file_are_told_apart(at: Site) -> None:
    item = make.equipment(at)
    row = frozen(at)
    item.name = "Depth gauge, outer"
    services.change(item, by=make.BY, reason="Misread plate", shown_version=item.row_version)
    told = freezing.look_at(row)
    assert told.file_unchanged
    assert told.changed_since == (f"maintenance.equipment {item.pk}",)
    assert row.evidence is not None
    path = path_of(row.evidence.sha256)
    path.write_bytes(path.read_bytes().replace(b"Depth gauge", b"Depth gouge"))
    told = freezing.look_at(row)
    assert (told.file_unchanged, told.signature_good) == (False, False)


def test_what_another_site_recorded_is_not_in_it(at: Site) -> None:
    other = make.equipment(make.site(), tag="FAR-1")
    row = frozen(at)
    assert row.evidence is not None
    assert "FAR-1" not in path_of(row.evidence.sha256).read_text()
    assert f"maintenance.equipment {other.pk}" not in row.manifest["records"]


def test_an_event_that_lies_ahead_is_refused(at: Site) -> None:
    with pytest.raises(ValidationError, match="after now"):
        frozen(at, event_at=events.now() + timedelta(days=1))


def test_freezing_asks_for_the_password_again(at: Site) -> None:
    client = signed_in(make.user(at, SiteRole.SUPERVISOR))
    sent = {"event_at": "24 Nov 2026 10:00", "why": "Smoke", "password": "wrong"}
    assert client.post(address(at, "frozen/new/"), sent).status_code == 422
    assert not Freeze.objects.exists()
    assert client.post(address(at, "frozen/new/"), sent | {"password": make.PASSWORD}).status_code == 302
    assert client.get(address(at, f"frozen/{Freeze.objects.get().pk}/")).status_code == 200


def test_a_second_process_finds_the_key_that_the_first_one_made() -> None:
    assert box_key.public_key() == box_key.public_key()
    assert (Path(box_key._path()).stat().st_mode & 0o777) == 0o600


def test_a_damaged_key_is_named_and_none_is_made_in_its_place() -> None:
    box_key.public_key()
    Path(box_key._path()).write_bytes(b"short")
    with pytest.raises(box_key.BoxKeyError, match="5 bytes"):
        box_key.public_key()
