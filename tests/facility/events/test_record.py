"""What record() stores, what it refuses, and what its text and digest are."""

from __future__ import annotations

import json
import subprocess
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from hypothesis import given
from hypothesis import strategies as st

from facility import events, record_check
from facility.events import Actor, EventRefusedError, What, is_late
from facility.models import Event
from tests.facility.events.store import BY, Store, fill

if TYPE_CHECKING:
    from pathlib import Path

NOON = datetime(2026, 3, 12, 12, 0, tzinfo=UTC)


def record(what: What, by: Actor = BY) -> Event:
    with transaction.atomic():
        return events.record(None, what, by=by)


@pytest.fixture(autouse=True)
def _no_earlier_event_of_this_process(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(events._Clocks, "last", None)


def test_the_chain_can_be_recomputed_with_sha256sum_from_the_stored_text(either: Store, tmp_path: Path) -> None:
    """Oracle: the sha256sum program; the bytes are those told in facility.compute.chain."""
    fill(3)
    record(What("test:noted", reason="Prøve på 60 fsw ÷ tørr \n“ok”", after={"note": "ÆØÅ 深 \U0001f6df"}))
    before = bytes(32)
    for _seq, payload, prev, digest in either.rows(
        "SELECT seq, payload, prev, digest FROM facility_event ORDER BY seq"
    ):
        file = tmp_path / "bytes"
        file.write_bytes(b"deepstead event v1\0" + bytes(prev) + payload.encode())
        told = subprocess.run(["sha256sum", str(file)], capture_output=True, text=True, check=True).stdout
        assert bytes.fromhex(told.split()[0]) == bytes(digest)
        assert bytes(prev) == before
        before = bytes(digest)
    assert record_check.verify().head_hex == before.hex()


@pytest.mark.parametrize("name", ["", "   ", "\t\n"])
def test_an_event_without_somebody_who_did_it_is_refused(sqlite_store: Store, name: str) -> None:
    with pytest.raises(EventRefusedError, match="actor's name is blank"):
        record(What("added"), by=Actor(name))


@pytest.mark.parametrize("action", ["", "  "])
def test_an_event_without_an_action_is_refused(sqlite_store: Store, action: str) -> None:
    with pytest.raises(EventRefusedError, match="needs an action"):
        record(What(action))


def test_an_action_longer_than_its_column_is_refused(sqlite_store: Store) -> None:
    assert record(What("a" * 60)).action == "a" * 60
    with pytest.raises(EventRefusedError, match="more than 60 letters"):
        record(What("a" * 61))


def test_a_name_longer_than_its_column_is_cut_the_same_everywhere(either: Store) -> None:
    assert record(What("added"), by=Actor("Ada " * 60)).actor == ("Ada " * 60)[:150]
    assert record_check.verify().ok


@pytest.mark.parametrize("value", [1.5, float("nan"), 3, None, ["x"], NOON])
@pytest.mark.parametrize("side", ["before", "after"])
def test_a_value_that_is_not_a_text_is_refused_by_name(sqlite_store: Store, side: str, value: Any) -> None:
    changed: dict[str, Any] = {side: {"depth": value}}
    with pytest.raises(EventRefusedError, match=rf"{side}\['depth'\] is .* a {type(value).__name__}"):
        record(What("corrected", **changed))
    assert record_check.verify().count == 0


@pytest.mark.parametrize("text", ["a\0b", "half \ud83d"])
def test_a_character_that_no_database_stores_is_refused_by_place(sqlite_store: Store, text: str) -> None:
    with pytest.raises(EventRefusedError, match="reason holds a character that cannot be stored"):
        record(What("corrected", reason=text))


def test_a_time_without_a_zone_is_refused(sqlite_store: Store) -> None:
    with pytest.raises(EventRefusedError, match="has no time zone"):
        record(What("added", occurred_at=NOON.replace(tzinfo=None)))


def test_an_event_outside_a_transaction_is_refused(sqlite_store: Store) -> None:
    with pytest.raises(transaction.TransactionManagementError):
        events.record(None, What("added"), by=BY)


def test_an_event_goes_with_its_transaction(either: Store) -> None:
    fill(1)
    with pytest.raises(RuntimeError, match="stop"), transaction.atomic():  # noqa: PT012  # the record must not raise
        events.record(None, What("added"), by=BY)
        raise RuntimeError("stop")
    fill(1)
    verdict = record_check.verify()
    assert (verdict.ok, verdict.count) == (True, 2)


def test_the_text_tells_who_when_what_why_and_how(sqlite_store: Store) -> None:
    by = Actor("Ada Moe", user_id=7, role="operator", session="abcd1234")
    what = What(
        "corrected", reason="Gauge misread", before={"depth": "60 fsw"}, after={"depth": "66 fsw"},
        occurred_at=NOON, late=True, site_key="skerrow",
    )  # fmt: skip
    event = record(what, by)
    told = json.loads(event.payload)
    assert told == {
        "seq": "1", "recorded_at": event.recorded_at.isoformat(), "occurred_at": "2026-03-12T12:00:00+00:00",
        "actor": "Ada Moe", "actor_id": "7", "role": "operator", "session": "abcd1234", "action": "corrected",
        "subject_kind": "", "subject_id": "", "site": "skerrow", "reason": "Gauge misread",
        "before": {"depth": "60 fsw"}, "after": {"depth": "66 fsw"}, "late": "yes", "clock_suspect": "",
        "version": told["version"], "salt": told["salt"],
    }  # fmt: skip
    assert event.payload == json.dumps(told, sort_keys=True, ensure_ascii=False, separators=(",", ":"))


def test_two_equal_events_have_different_digests_so_that_a_digest_betrays_no_content(sqlite_store: Store) -> None:
    salts = {json.loads(record(What("added")).payload)["salt"] for _ in range(20)}
    assert len(salts) == 20
    assert {len(bytes.fromhex(salt)) for salt in salts} == {16}


def test_a_reason_longer_than_its_column_is_kept_whole_in_the_text(either: Store) -> None:
    reason = "why " * 500
    event = record(What("corrected", reason=reason))
    assert json.loads(event.payload)["reason"] == reason
    assert len(event.reason) == 1000
    assert record_check.verify().ok


def test_a_record_costs_at_most_two_queries_and_one_insert(either: Store) -> None:
    fill(1)
    with transaction.atomic(), CaptureQueriesContext(connection) as seen:
        events.record(None, What("added"), by=BY)
    kinds = [query["sql"].split()[0] for query in seen.captured_queries]
    assert kinds == (["SELECT", "INSERT"] if either.is_sqlite else ["SELECT", "SELECT", "INSERT"])


def test_a_clock_set_back_does_not_stop_an_event_but_marks_it(either: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(events, "now", lambda: NOON)
    first = record(What("added"))
    monkeypatch.setattr(events, "now", lambda: NOON - timedelta(seconds=1))
    second = record(What("added"))
    assert (first.clock_suspect, second.clock_suspect) == (False, True)
    assert json.loads(second.payload)["clock_suspect"] == "yes"
    assert [event.seq for event in Event.objects.all()] == [1, 2]
    assert record_check.verify().ok


@pytest.mark.parametrize(
    ("wall_minutes", "steady_minutes", "suspect"),
    [(1, 1, False), (6, 1, False), (6.02, 1, True), (600, 600, False), (600, 0, True), (0, 600, True)],
)
def test_a_clock_that_jumps_more_than_five_minutes_is_marked_once(
    sqlite_store: Store, monkeypatch: pytest.MonkeyPatch, wall_minutes: float, steady_minutes: float, suspect: bool
) -> None:
    wall, steady = [NOON], [1000.0]
    monkeypatch.setattr(events, "now", lambda: wall[0])
    monkeypatch.setattr(events, "steady_seconds", lambda: steady[0])
    assert not record(What("added")).clock_suspect
    wall[0] += timedelta(minutes=wall_minutes)
    steady[0] += 60 * steady_minutes
    assert record(What("added")).clock_suspect is suspect
    assert not record(What("added")).clock_suspect


@pytest.mark.parametrize(("minutes", "late"), [(-5, False), (0, False), (60, False), (60.001, True), (4320, True)])
def test_an_entry_is_late_only_past_the_limit(minutes: float, late: bool) -> None:
    assert is_late(NOON, NOON + timedelta(minutes=minutes), 60) is late


@given(st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0")), st.binary(min_size=32, max_size=32))
def test_the_digest_is_that_of_hashlib_for_any_text(text: str, prev: bytes) -> None:
    """Oracle: hashlib over the documented bytes, fed piece by piece."""
    import hashlib

    from facility.compute.chain import chain_digest

    whole = hashlib.sha256(b"deepstead event v1")
    for piece in (b"\x00", prev, text.encode()):
        whole.update(piece)
    assert chain_digest(prev, text) == whole.digest()
