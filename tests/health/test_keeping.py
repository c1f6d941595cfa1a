"""What keeping rests on, as a monitor is told: backups and copies, notices, the certificate, faults of the log."""

from __future__ import annotations

import json
import os
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding
from django.db import transaction
from django.test import Client
from prometheus_client.parser import text_string_to_metric_families

from facility import events, services
from facility.backup import copies, restoring, store
from facility.compute.flags import Sort, Thing
from facility.health import box_measures, keeping
from facility.health.exposition import written
from facility.jobs import absence
from facility.models import Delivery, Heartbeat, Notice, NoticeKind, NoticeWay, Way
from facility.trust import faults
from tests import make

if TYPE_CHECKING:
    from datetime import datetime
    from pathlib import Path

pytestmark = [pytest.mark.django_db, pytest.mark.both]
NOON = make.NOON


@pytest.fixture(autouse=True)
def folder(monkeypatch: pytest.MonkeyPatch, settings: Any, tmp_path: Path) -> Path:
    monkeypatch.setattr(events, "now", lambda: NOON)
    settings.DATA_DIR, settings.BACKUP_COPIES, settings.BACKUP_COMMAND = tmp_path, [], ""
    Heartbeat.objects.create(name="jobs@box", beat_at=NOON, started_at=NOON)
    return tmp_path


def told(name: str) -> tuple[int, dict[str, Any]]:
    answer = Client().get("/readyz")
    return answer.status_code, answer.json()["parts"][name]


def measured() -> dict[str, float]:
    """Return the box's own numbers as an independent reader finds them (the prometheus_client library)."""
    text = written(box_measures.of_the_box(NOON))
    return {one.name: one.value for family in text_string_to_metric_families(text) for one in family.samples}


def put(made_at: datetime) -> Path:
    store.folder().mkdir(exist_ok=True)
    path = store.free_path(store.folder(), made_at)
    path.write_bytes(b"s")
    return path


def note_taken(path: Path, place: str) -> None:
    (store.folder() / copies.LIST).write_text(json.dumps({path.name: {place: {copies.TAKEN: "then"}}}))


def installed(days: float) -> None:
    """Let the first event have been recorded so many days ago."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(events, "now", lambda: NOON - timedelta(days=days))
        make.organisation()


def test_a_box_of_today_needs_no_backup_yet_and_one_of_yesterday_does() -> None:
    assert told("backup") == (200, {"ok": True, "age_s": None, "copies_lacking": 0})
    installed(days=1)
    status, part = told("backup")
    assert (status, part["ok"]) == (503, False)
    assert "run `manage.py backup`" in part["advice"]


def test_a_box_that_was_put_back_today_needs_no_backup_yet(folder: Path) -> None:
    installed(days=300)
    kept = folder / restoring.SETTINGS_FILE
    kept.touch()
    for hours, status in ((23, 200), (25, 503)):
        at = (NOON - timedelta(hours=hours)).timestamp()
        os.utime(kept, (at, at))
        assert told("backup")[0] == status


def test_a_backup_older_than_a_night_and_a_half_is_late() -> None:
    path = put(NOON - timedelta(hours=36))
    assert told("backup") == (200, {"ok": True, "age_s": 36 * 3600, "copies_lacking": 0})
    path.rename(store.free_path(store.folder(), NOON - timedelta(hours=36, seconds=1)))
    status, part = told("backup")
    assert status == 503
    assert "No backup was made last night" in part["advice"]
    assert measured()["deepstead_backup_age_seconds"] == 36 * 3600 + 1


def test_a_stick_may_be_away_for_a_week_and_then_somebody_is_told(settings: Any, folder: Path) -> None:
    settings.BACKUP_COPIES = [folder / "stick"]
    old, _new = put(NOON - timedelta(days=7)), put(NOON - timedelta(hours=10))
    note_taken(old, str(folder / "stick"))
    assert told("backup") == (200, {"ok": True, "age_s": 36000, "copies_lacking": 1})
    gone = old.rename(store.free_path(store.folder(), NOON - timedelta(days=7, seconds=1)))
    note_taken(gone, str(folder / "stick"))
    status, part = told("backup")
    assert status == 503
    assert "1 place got no copy for 7 days" in part["advice"]
    assert "stick/" not in part["advice"], "who asks without an account learns no folder"
    assert measured()["deepstead_backup_copies_lacking"] == 1


def delivery(made_at: datetime, **values: Any) -> Delivery:
    site = make.site()
    number = Notice.objects.count()
    notice = Notice.objects.create(
        site=site, kind=NoticeKind.BOX, once_key=f"n{number}", subject="s", body="b", next_action="a", made_at=made_at
    )
    way = services.add(NoticeWay(site=site, way=Way.WEBHOOK, address="https://example.invalid/hook"), by=make.BY)
    return Delivery.objects.create(notice=notice, way=way, due_at=NOON, **values)


def test_notices_that_do_not_get_out_are_told() -> None:
    assert told("notices") == (200, {"ok": True, "unsent": 0, "oldest_unsent_s": 0})
    delivery(NOON - timedelta(days=2), sent_at=NOON)
    delivery(NOON - timedelta(days=2), given_up_at=NOON)
    delivery(NOON - timedelta(hours=1))
    waits = delivery(NOON - timedelta(hours=6))
    assert told("notices") == (200, {"ok": True, "unsent": 2, "oldest_unsent_s": 6 * 3600})
    Notice.objects.filter(pk=waits.notice_id).update(made_at=NOON - timedelta(hours=6, seconds=1))
    assert told("notices")[0] == 503
    assert measured()["deepstead_unsent_notices"] == 2
    assert measured()["deepstead_oldest_unsent_notice_seconds"] == 6 * 3600 + 1


def test_a_notice_of_after_the_clock_was_set_back_has_no_age_below_zero() -> None:
    delivery(NOON + timedelta(days=1))
    assert told("notices")[1]["oldest_unsent_s"] == 0


def certificate_until(end: datetime, folder: Path) -> None:
    """Write a certificate as another library makes it (cryptography), with this end."""
    key, name = ec.generate_private_key(ec.SECP256R1()), x509.Name([])
    made = x509.CertificateBuilder().subject_name(name).issuer_name(name).public_key(key.public_key())
    made = made.serial_number(7).not_valid_before(end - timedelta(days=90)).not_valid_after(end)
    (folder / "lan").mkdir(exist_ok=True)
    (folder / "lan" / "server.pem").write_bytes(made.sign(key, hashes.SHA256()).public_bytes(Encoding.PEM))


def test_a_certificate_is_told_30_days_before_it_ends_and_is_not_well_when_it_has(folder: Path) -> None:
    assert told("certificate") == (200, {"ok": True, "days_left": None})
    certificate_until(NOON + timedelta(days=31), folder)
    assert told("certificate") == (200, {"ok": True, "days_left": 31})
    certificate_until(NOON + timedelta(days=30), folder)
    status, part = told("certificate")
    assert (status, part["ok"], part["days_left"]) == (200, True, 30)
    assert "run `manage.py lan_certificate` again" in part["advice"]
    assert measured()["deepstead_certificate_left_seconds"] == 30 * 86400
    certificate_until(NOON, folder)
    assert told("certificate")[0] == 503


def test_a_standing_fault_of_the_log_is_told_without_its_words() -> None:
    assert told("records") == (200, {"ok": True, "faults": 0})
    faults.stand(["The log is shorter than checkpoint 40."])
    status, part = told("records")
    assert (status, part["faults"]) == (503, 1)
    assert "checkpoint 40" not in part["advice"]
    assert measured()["deepstead_log_faults"] == 1


def test_when_the_box_was_off_last_is_measured() -> None:
    assert "deepstead_last_off_from_seconds" not in measured()
    Heartbeat.objects.update(beat_at=NOON - timedelta(hours=5))
    with transaction.atomic():
        absence.note(now=NOON)
    assert measured()["deepstead_last_off_to_seconds"] == NOON.timestamp()
    assert measured()["deepstead_last_off_from_seconds"] == (NOON - timedelta(hours=5)).timestamp()


def test_things_are_listed_nearest_first_up_to_a_bound_and_people_are_not() -> None:
    today = NOON.date()
    things = [
        Thing(f"rule:{number}", Sort.RULE, f"G-{number}: service", number, today + timedelta(days=number - 1))
        for number in reversed(range(box_measures.MOST + 3))
    ]
    things += [
        Thing("medical:1", Sort.MEDICAL, "ana", 1, today), Thing("contact:2", Sort.CONTACT, "bea", 2, today),
        Thing("qualification:1:4", Sort.QUALIFICATION, "tender of ana", 1, today), Thing("rule:9999", Sort.RULE, "x", 9, None),
    ]  # fmt: skip
    days, _more = box_measures.day_gauges()
    assert box_measures.add_days(days, things, today, site="skerrow") == 3
    (family,) = text_string_to_metric_families(written([days]))
    assert len(family.samples) == box_measures.MOST
    first = family.samples[0]
    assert (first.labels, first.value) == (
        {"site": "skerrow", "sort": "rule", "thing": "G-0: service", "key": "rule:0"}, -1,
    )  # fmt: skip
    assert "ana" not in written([days])
    assert len({tuple(sorted(one.labels.items())) for one in family.samples}) == box_measures.MOST


def test_the_young_age_is_a_day() -> None:
    installed(days=0.99)
    assert keeping.is_young(NOON)
