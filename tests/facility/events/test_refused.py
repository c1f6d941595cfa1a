"""Every way past record() that was thought of, and how the database itself refuses it."""

from __future__ import annotations

import sqlite3
from typing import TYPE_CHECKING

import psycopg
import pytest
from django.core.management import call_command
from django.db import IntegrityError, transaction

from facility import events, record_check
from facility.compute.chain import GENESIS, chain_digest
from facility.models import Event
from tests.facility.events.store import Refused, Store, fill

if TYPE_CHECKING:
    from collections.abc import Callable

COLUMNS = (
    "seq, payload, prev, digest, recorded_at, action, actor, subject_kind, subject_id, site_id_text, reason, late,"
    " clock_suspect"
)
REST = "'2026-03-12', 'a', 'b', '', NULL, '', '', {no}, {no}"


def insert(store: Store, seq: int, prev: bytes, digest: bytes, *, verb: str = "INSERT INTO", tail: str = "") -> str:
    """Return an insert in the words of the store's database."""
    quoted = "x'{}'" if store.is_sqlite else "'\\x{}'"
    rest = REST.format(no="0" if store.is_sqlite else "false")
    return f"{verb} facility_event ({COLUMNS}) VALUES ({seq}, '{{}}', {quoted.format(prev.hex())}, {quoted.format(digest.hex())}, {rest}) {tail}"


def next_link(store: Store) -> tuple[int, bytes, bytes]:
    """Return seq, prev and digest of a true next event with the text {}."""
    seq, digest = store.rows("SELECT seq, digest FROM facility_event ORDER BY seq DESC LIMIT 1")[0]
    return seq + 1, bytes(digest), chain_digest(bytes(digest), "{}")


def unchanged(store: Store, before: list[tuple[object, ...]]) -> bool:
    return store.rows("SELECT seq, payload, actor FROM facility_event ORDER BY seq") == before


PLAIN_HARM = (
    "UPDATE facility_event SET payload = 'x' WHERE seq = 2",
    "UPDATE facility_event SET actor = 'somebody else'",
    "DELETE FROM facility_event WHERE seq = 3",
    "DELETE FROM facility_event",
)


def test_plain_changes_and_removals_are_refused(either: Store) -> None:
    fill(3)
    before = either.rows("SELECT seq, payload, actor FROM facility_event ORDER BY seq")
    for statement in PLAIN_HARM:
        with pytest.raises(Refused, match="kept for ever"):
            either.run(statement)
    assert unchanged(either, before)


def change_by_save(event: Event) -> None:
    event.actor = "somebody else"
    event.save()


def change_in_bulk(event: Event) -> None:
    event.actor = "somebody else"
    Event.objects.bulk_update([event], ["actor"])


@pytest.mark.parametrize(
    "act",
    [
        change_by_save,
        change_in_bulk,
        lambda event: Event.objects.update(actor="somebody else"),
        lambda event: event.delete(),
        lambda event: Event.objects.all().delete(),
        lambda event: Event.objects.bulk_create(
            [event], update_conflicts=True, update_fields=["actor"], unique_fields=["seq"]
        ),
    ],
    ids=["save", "bulk_update", "update", "delete", "delete all", "upsert"],
)
def test_changes_through_the_models_are_refused(either: Store, act: Callable[[Event], object]) -> None:
    event = fill(3)[1]
    with pytest.raises(Exception, match=r"kept for ever|only after the newest"), transaction.atomic():
        act(event)
    assert record_check.verify().ok


def test_an_upsert_in_plain_sql_is_refused(either: Store) -> None:
    fill(3)
    tail = "ON CONFLICT (seq) DO UPDATE SET actor = 'somebody else'"
    with pytest.raises(Refused, match="only after the newest"):
        either.run(insert(either, 2, GENESIS, GENESIS, tail=tail))
    assert record_check.verify().ok


@pytest.mark.parametrize("pragma", ["ON", "OFF"])
@pytest.mark.parametrize("verb", ["INSERT OR REPLACE INTO", "REPLACE INTO", "INSERT OR IGNORE INTO"])
def test_insert_or_replace_is_refused_whatever_the_pragma(sqlite_store: Store, pragma: str, verb: str) -> None:
    fill(3)
    with pytest.raises(sqlite3.IntegrityError, match="only after the newest"):
        sqlite_store.run(f"PRAGMA recursive_triggers={pragma}", insert(sqlite_store, 2, GENESIS, GENESIS, verb=verb))
    assert record_check.verify().count == 3


@pytest.mark.parametrize("row_number", [1, 2, -1, 0])
def test_a_true_next_event_cannot_replace_an_old_one_by_its_row_number(sqlite_store: Store, row_number: int) -> None:
    fill(3)
    statement = insert(sqlite_store, *next_link(sqlite_store), verb="INSERT OR REPLACE INTO")
    statement = statement.replace("(seq,", "(rowid, seq,").replace("VALUES (", f"VALUES ({row_number}, ")
    with pytest.raises(sqlite3.IntegrityError, match="only after the newest"):
        sqlite_store.run("PRAGMA recursive_triggers=OFF", statement)
    assert record_check.verify().count == 3
    fill(1)


def test_an_event_out_of_turn_is_refused(either: Store) -> None:
    fill(3)
    _seq, prev, digest = next_link(either)
    for seq in (0, 1, 3, 5, 99):
        with pytest.raises(Refused, match="only after the newest"):
            either.run(insert(either, seq, prev, digest))
    assert record_check.verify().count == 3


def test_an_event_that_does_not_continue_the_newest_is_refused(either: Store) -> None:
    fill(3)
    with pytest.raises(Refused, match="only after the newest"):
        either.run(insert(either, 4, GENESIS, chain_digest(GENESIS, "{}")))


def test_a_wrong_digest_is_found_by_verify_on_sqlite(sqlite_store: Store) -> None:
    fill(3)
    seq, prev, _digest = next_link(sqlite_store)
    sqlite_store.run(insert(sqlite_store, seq, prev, bytes(31) + b"\1"))
    assert record_check.verify().first_fault == "The text of event 4 was changed: its digest is wrong."


@pytest.mark.postgres
def test_a_wrong_digest_is_refused_by_postgresql(postgres_store: Store) -> None:
    fill(3)
    seq, prev, _digest = next_link(postgres_store)
    with pytest.raises(psycopg.Error, match="digest of event 4 does not belong"):
        postgres_store.run(insert(postgres_store, seq, prev, bytes(31) + b"\1"))


def test_an_event_past_record_with_a_true_digest_is_named_by_verify(either: Store) -> None:
    fill(3)
    either.run(insert(either, *next_link(either)))
    assert record_check.verify().first_fault == "The text of event 4 cannot be read."


@pytest.mark.postgres
def test_truncate_is_refused(postgres_store: Store) -> None:
    fill(3)
    for statement in ("TRUNCATE facility_event", "TRUNCATE facility_event CASCADE"):
        with pytest.raises(psycopg.Error, match="kept for ever"):
            postgres_store.run(statement)
    assert record_check.verify().count == 3


@pytest.mark.postgres
def test_a_session_that_poses_as_a_replica_is_refused(superuser_store: Store) -> None:
    fill(3)
    for statement in (*PLAIN_HARM, "TRUNCATE facility_event"):
        with pytest.raises(psycopg.Error, match="kept for ever"):
            superuser_store.run("SET session_replication_role = replica", statement)
    assert record_check.verify().count == 3


@pytest.mark.postgres
def test_a_table_of_the_same_name_in_front_does_not_mislead_the_trigger(postgres_store: Store) -> None:
    fill(3)
    seq, prev, digest = next_link(postgres_store)
    statement = insert(postgres_store, seq + 1, prev, digest).replace("facility_event", "public.facility_event")
    with pytest.raises(psycopg.Error, match="only after the newest"):
        postgres_store.run(
            "CREATE TEMP TABLE facility_event (seq bigint, digest bytea)",
            f"INSERT INTO pg_temp.facility_event VALUES ({seq}, '\\x{prev.hex()}')",  # noqa: S608
            statement,
        )


def test_flush_is_refused(either: Store) -> None:
    fill(3)
    with pytest.raises(Exception, match=r"kept for ever|couldn't be flushed"):
        call_command("flush", interactive=False, verbosity=0)
    assert record_check.verify().count == 3


def test_blank_actor_and_action_are_refused_by_the_table_too(either: Store) -> None:
    for column in ("actor", "action"):
        seq, prev = 1, GENESIS
        values = {"action": "a", "actor": "b"} | {column: ""}
        with pytest.raises(IntegrityError), transaction.atomic():
            Event.objects.create(
                seq=seq, payload="{}", prev=prev, digest=chain_digest(prev, "{}"), recorded_at=events.now(), **values
            )
