"""The command check_records, the nightly verification and the check after an unclean stop."""

from __future__ import annotations

import json
import tracemalloc

import pytest
from django.db import transaction

from facility import events, record_check
from facility.events import What
from facility.models import Event
from facility.record_check import Verdict
from tests.facility.events.store import BY, Refused, Store, fill

ZEROS = "0" * 64


def test_the_command_prints_count_and_head_last_and_ends_well(either: Store) -> None:
    head = fill(3)[-1].digest.hex()
    done = either.manage("check_records")
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.splitlines() == ["Nothing wrong was found.", f"events 3, head {head}"]


def test_the_command_names_every_fault_and_ends_with_one(either: Store) -> None:
    fill(3)
    either.drop_triggers()
    either.run("DELETE FROM facility_event WHERE seq = 2")
    done = either.manage("check_records")
    lines = done.stdout.splitlines()
    assert done.returncode == 1
    assert lines[0] == "FAULT: Gap: after event 1 comes event 3, where 2 was due."
    assert lines[1].startswith("FAULT: The event table lacks its triggers")
    assert lines[-1].startswith("events 2, head ")


def test_the_command_compares_with_what_was_noted_earlier(sqlite_store: Store) -> None:
    head = fill(2)[0].digest.hex()
    assert sqlite_store.manage("check_records", "--at-least", "1", head).returncode == 0
    found = sqlite_store.manage("check_records", "--at-least", "7", head)
    assert found.returncode == 1
    assert "The log holds 2 events, but 7 were noted earlier" in found.stdout
    refused = sqlite_store.manage("check_records", "--at-least", "7", "abc")
    assert refused.returncode == 1
    assert "64 hex digits" in refused.stderr


def test_an_empty_log_is_sound(either: Store) -> None:
    assert record_check.verify() == Verdict(0, ZEROS, ())


def test_the_walk_needs_no_more_memory_for_a_longer_log(sqlite_store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(record_check, "BATCH", 100)

    def peak_after(number: int) -> int:
        with transaction.atomic():
            for n in range(number):
                events.record(None, What("test:noted", after={"note": f"{n} " + "x" * 4000}), by=BY)
        tracemalloc.start()
        assert record_check.verify().ok
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return peak

    peak_after(300)
    of_400 = peak_after(100)
    of_2000 = peak_after(1600)
    assert of_2000 < 1.3 * of_400


def test_the_nightly_verification_is_recorded(either: Store) -> None:
    head = fill(2)[-1].digest.hex()
    assert record_check.verify_and_record(by=events.system("nightly")).ok
    newest = Event.objects.latest("seq")
    assert (newest.action, newest.actor) == ("records:verified", "system:nightly")
    assert json.loads(newest.payload)["after"] == {"events": "2", "head": head, "found": "nothing wrong"}


def test_a_sound_log_after_an_unclean_stop_is_recorded_as_such(either: Store) -> None:
    fill(2)
    assert record_check.after_unclean_stop().ok
    newest = Event.objects.latest("seq")
    assert (newest.action, newest.actor) == ("records:checked-after-unclean-stop", "system:start")
    assert json.loads(newest.payload)["after"]["found"] == "nothing wrong"


def test_a_fault_after_an_unclean_stop_is_recorded_and_does_not_stop_the_start(either: Store) -> None:
    fill(3)
    either.drop_triggers()
    either.run("DELETE FROM facility_event WHERE seq = 2")
    verdict = record_check.after_unclean_stop()
    assert verdict.first_fault.startswith("Gap: after event 1")
    assert json.loads(Event.objects.latest("seq").payload)["after"]["found"].startswith("Gap: after event 1")


def test_a_damaged_file_is_named_and_does_not_raise(sqlite_store: Store, caplog: pytest.LogCaptureFixture) -> None:
    fill(300)
    with sqlite_store.raw() as link:
        link.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        [(page,)] = link.execute("SELECT rootpage FROM sqlite_master WHERE name = 'facility_event'").fetchall()
        [(size,)] = link.execute("PRAGMA page_size").fetchall()
    with sqlite_store.file.open("r+b") as file:
        file.seek((page - 1) * size)
        file.write(b"\xff" * size)
    with pytest.raises(Refused):
        sqlite_store.rows("SELECT count(*), max(payload) FROM facility_event")
    verdict = record_check.after_unclean_stop()
    assert not verdict.ok
    assert "damaged" in verdict.first_fault or "malformed" in verdict.first_fault
    assert "could not be recorded" in verdict.faults[-1]
    assert "unclean stop could not be recorded" in caplog.text
