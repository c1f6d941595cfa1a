"""Every way past record() that was thought of: refused by the database, or named by verify()."""

from __future__ import annotations

import sqlite3
from typing import TYPE_CHECKING

import psycopg
import pytest
from django.core.management import call_command
from django.db import IntegrityError, connection, models, transaction

from facility import events, record_check, services, triggers
from facility.compute.chain import GENESIS, chain_digest
from facility.events import What
from facility.models import Event, Organisation
from tests.facility.events.store import BY, Refused, Store, fill

if TYPE_CHECKING:
    from collections.abc import Callable

COLUMNS = (
    "seq, payload, prev, digest, recorded_at, action, actor, subject_kind, subject_id, site_id_text, reason, late,"
    " clock_suspect"
)
REST = "'2026-03-12', 'a', 'b', '', NULL, '', '', {no}, {no}"


def insert(store: Store, seq: int, prev: bytes, digest: bytes, *, verb: str = "INSERT INTO", tail: str = "") -> str:
    """Return an insert in the words of the store's database."""
    blob = (lambda value: f"x'{value.hex()}'") if store.is_sqlite else (lambda value: f"'\\x{value.hex()}'")
    rest = REST.format(no="0" if store.is_sqlite else "false")
    return f"{verb} facility_event ({COLUMNS}) VALUES ({seq}, '{{}}', {blob(prev)}, {blob(digest)}, {rest}) {tail}"


def next_link(store: Store) -> tuple[int, bytes, bytes]:
    """Return seq, prev and digest of a true next event with the text {}."""
    seq, digest = store.rows("SELECT seq, digest FROM facility_event ORDER BY seq DESC LIMIT 1")[0]
    return seq + 1, bytes(digest), chain_digest(bytes(digest), "{}")


def unchanged(store: Store, before: list[tuple[object, ...]]) -> bool:
    return store.rows("SELECT seq, payload, actor FROM facility_event ORDER BY seq") == before


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE facility_event SET payload = 'x' WHERE seq = 2",
        "UPDATE facility_event SET actor = 'somebody else'",
        "DELETE FROM facility_event WHERE seq = 3",
        "DELETE FROM facility_event",
    ],
)
def test_plain_changes_and_removals_are_refused(either: Store, statement: str) -> None:
    fill(3)
    before = either.rows("SELECT seq, payload, actor FROM facility_event ORDER BY seq")
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


@pytest.mark.parametrize("seq", [0, 1, 3, 5, 99])
def test_an_event_out_of_turn_is_refused(either: Store, seq: int) -> None:
    fill(3)
    _seq, prev, digest = next_link(either)
    with pytest.raises(Refused, match="only after the newest"):
        either.run(insert(either, seq, prev, digest))


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
@pytest.mark.parametrize("statement", ["TRUNCATE facility_event", "TRUNCATE facility_event CASCADE"])
def test_truncate_is_refused(postgres_store: Store, statement: str) -> None:
    fill(3)
    with pytest.raises(psycopg.Error, match="kept for ever"):
        postgres_store.run(statement)


@pytest.mark.postgres
@pytest.mark.parametrize(
    "statement",
    ["DELETE FROM facility_event", "UPDATE facility_event SET actor = 'x'", "TRUNCATE facility_event"],
)
def test_a_session_that_poses_as_a_replica_is_refused(postgres_store: Store, statement: str) -> None:
    fill(3)
    with pytest.raises(psycopg.Error, match="kept for ever"):
        postgres_store.run("SET session_replication_role = replica", statement)
    assert record_check.verify().count == 3


@pytest.mark.postgres
def test_a_table_of_the_same_name_in_front_does_not_mislead_the_trigger(postgres_store: Store) -> None:
    fill(3)
    seq, prev, digest = next_link(postgres_store)
    statement = insert(postgres_store, seq + 1, prev, digest).replace("facility_event", "public.facility_event")
    with pytest.raises(psycopg.Error, match="only after the newest"):
        postgres_store.run(
            "CREATE TEMP TABLE facility_event (seq bigint, digest bytea)",
            f"INSERT INTO pg_temp.facility_event VALUES ({seq}, '\\x{prev.hex()}')",
            statement,
        )


def test_flush_is_refused(either: Store) -> None:
    fill(3)
    with pytest.raises(Exception, match=r"kept for ever|couldn't be flushed"):
        call_command("flush", interactive=False, verbosity=0)
    assert record_check.verify().count == 3


@pytest.mark.parametrize(
    ("statement", "fault"),
    [
        (
            "UPDATE facility_event SET payload = replace(payload, '1 fsw', '9 fsw') WHERE seq = 2",
            "The text of event 2 was changed: its digest is wrong.",
        ),
        ("DELETE FROM facility_event WHERE seq = 2", "Gap: after event 1 comes event 3, where 2 was due."),
        ("DELETE FROM facility_event WHERE seq = 1", "Gap: after event 0 comes event 2, where 1 was due."),
        (
            "UPDATE facility_event SET digest = prev WHERE seq = 2",
            "The text of event 2 was changed: its digest is wrong.",
        ),
        (
            "UPDATE facility_event SET prev = digest WHERE seq = 2",
            "Event 2 does not continue event 1: one of the two was changed.",
        ),
        (
            "UPDATE facility_event SET actor = 'somebody else' WHERE seq = 2",
            "Event 2: the column “actor” says “somebody else”, the event's text says “system:test”.",
        ),
        (
            "UPDATE facility_event SET subject_id = 7 WHERE seq = 2",
            "Event 2: the column “subject_id” says “7”, the event's text says “”.",
        ),
        (
            "UPDATE facility_event SET late = NOT late WHERE seq = 2",
            "Event 2: the column “late” says “yes”, the event's text says “”.",
        ),
    ],
)
def test_what_the_owner_changes_after_dropping_the_triggers_is_named(either: Store, statement: str, fault: str) -> None:
    fill(4)
    either.drop_triggers()
    either.run(statement)
    triggers.ensure()
    assert record_check.verify().faults == (fault,)


def test_a_time_put_back_in_the_column_alone_is_named(either: Store) -> None:
    fill(2)
    either.drop_triggers()
    either.run("UPDATE facility_event SET recorded_at = '2020-01-01 00:00:00+00:00' WHERE seq = 2")
    assert "Event 2: the column “recorded_at” says “2020-01-01" in record_check.verify().first_fault


def test_a_text_that_was_rechained_needs_the_noted_head_to_be_found(either: Store) -> None:
    fill(4)
    before = record_check.verify()
    either.drop_triggers()
    with either.raw() as link:
        prev = GENESIS
        mark = "?" if either.is_sqlite else "%s"
        for seq, payload in link.execute("SELECT seq, payload FROM facility_event ORDER BY seq").fetchall():
            text = payload.replace("1 fsw", "9 fsw")
            digest = chain_digest(prev, text)
            link.execute(
                f"UPDATE facility_event SET payload = {mark}, prev = {mark}, digest = {mark} WHERE seq = {mark}",
                (text, prev, digest, seq),
            )
            prev = digest
    triggers.create(connection)
    assert record_check.verify().ok, "a whole new chain looks sound from inside: this is its limit"
    found = record_check.verify(at_least=(before.count, before.head_hex))
    assert found.faults == ("Event 4 is not the one that was noted earlier: the log was built anew.",)


def test_a_cut_end_needs_the_noted_count_to_be_found(either: Store) -> None:
    fill(10)
    before = record_check.verify()
    either.drop_triggers()
    either.run("DELETE FROM facility_event WHERE seq > 5")
    triggers.create(connection)
    assert record_check.verify().ok, "a shorter log looks sound from inside: this is its limit"
    found = record_check.verify(at_least=(before.count, before.head_hex))
    assert found.faults == ("The log holds 5 events, but 10 were noted earlier: its end was cut off.",)


def test_a_log_that_grew_still_agrees_with_what_was_noted(either: Store) -> None:
    fill(3)
    before = record_check.verify()
    fill(2)
    assert record_check.verify(at_least=(before.count, before.head_hex)).ok


def test_a_row_stored_past_the_log_is_named(either: Store) -> None:
    services.add(Organisation(key="with", name="With an event"), by=BY)
    Organisation(key="without", name="Without", recorded_at=events.now(), recorded_by="nobody").save()
    [fault] = record_check.verify().faults
    assert fault.startswith("Row without event: organisation number 2 ")


def test_a_kept_row_that_is_gone_is_named(either: Store) -> None:
    row = services.add(Organisation(key="gone", name="Gone"), by=BY)
    either.run(f"DELETE FROM facility_organisation WHERE id = {row.pk}")
    assert record_check.verify().faults == (f"Event 1 tells of organisation number {row.pk}, but that row is gone.",)


def test_a_cut_end_is_found_without_a_note_if_it_told_of_a_row(either: Store) -> None:
    services.add(Organisation(key="here", name="Here"), by=BY)
    either.drop_triggers()
    either.run("DELETE FROM facility_event WHERE seq = 1")
    triggers.create(connection)
    assert record_check.verify().first_fault.startswith("Row without event: organisation number 1 ")


def test_blank_actor_and_action_are_refused_by_the_table_too(either: Store) -> None:
    for column in ("actor", "action"):
        seq, prev = 1, GENESIS
        values = {"action": "a", "actor": "b"} | {column: ""}
        with pytest.raises(IntegrityError), transaction.atomic():
            Event.objects.create(
                seq=seq, payload="{}", prev=prev, digest=chain_digest(prev, "{}"), recorded_at=events.now(), **values
            )


def test_a_rebuild_of_the_table_gets_its_triggers_back_with_an_event(either: Store) -> None:
    fill(2)
    longer = models.CharField(max_length=99)
    longer.set_attributes_from_name("action")
    longer.model = Event
    with connection.schema_editor() as editor:
        editor.alter_field(Event, Event._meta.get_field("action"), longer)
    names = (
        {name for (name,) in either.rows("SELECT name FROM sqlite_master WHERE type = 'trigger'")}
        if (either.is_sqlite)
        else None
    )
    assert names in (set(), None), "SQLite loses the triggers: without the hook this would stay unseen"
    call_command("migrate", verbosity=0, interactive=False)
    assert triggers.missing() == []
    with pytest.raises(Refused, match="kept for ever"):
        either.run("DELETE FROM facility_event")
    newest = Event.objects.latest("seq")
    if either.is_sqlite:
        assert (newest.action, newest.actor) == ("security:triggers-restored", "system:migrate")
    assert record_check.verify().ok


def test_record_still_appends_after_every_refusal(either: Store) -> None:
    fill(2)
    with pytest.raises(Refused):
        either.run("DELETE FROM facility_event")
    with transaction.atomic():
        assert events.record(None, What("test:after"), by=BY).seq == 3
    assert record_check.verify().ok
