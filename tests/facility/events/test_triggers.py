"""Triggers: there after migrating from nothing, put back when wrong, and reported by the system check."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest
from django.core.management import call_command
from django.db import connection

from facility import record_check, triggers
from facility.models import Event
from facility.triggers_check import check_event_triggers
from tests.facility.events.store import Refused, Store, fill

if TYPE_CHECKING:
    from collections.abc import Sequence

SQLITE_NAMES = {"event_no_update", "event_no_delete", "event_only_next", "event_row_number"}
POSTGRES_NAMES = {"event_no_update", "event_no_delete", "event_no_truncate", "event_only_next"}


def test_a_database_migrated_from_nothing_has_the_triggers_and_no_event(either: Store) -> None:
    if either.is_sqlite:
        found = {name for (name,) in either.rows("SELECT name FROM sqlite_master WHERE type = 'trigger'")}
        assert found == SQLITE_NAMES
    else:
        rows = either.rows("SELECT tgname, tgenabled FROM pg_trigger WHERE tgrelid = 'facility_event'::regclass")
        assert {(name, str(enabled)) for name, enabled in rows} == {(name, "A") for name in POSTGRES_NAMES}
    assert triggers.missing() == []
    assert Event.objects.count() == 0


def test_ensure_does_nothing_and_records_nothing_when_all_is_right(either: Store) -> None:
    assert triggers.ensure() == []
    assert Event.objects.count() == 0


SQLITE_HARM = [
    (["DROP TRIGGER event_no_delete"], ["event_no_delete"]),
    (
        ["DROP TRIGGER event_no_update", "CREATE TRIGGER event_no_update BEFORE UPDATE ON facility_event BEGIN SELECT 1; END"],
        ["event_no_update"],
    ),
    (
        ["CREATE TRIGGER aside BEFORE INSERT ON facility_event BEGIN SELECT RAISE(IGNORE); END"],
        ["aside"],
    ),
    (["PRAGMA writable_schema=ON", "DELETE FROM sqlite_master WHERE type = 'trigger'"], sorted(SQLITE_NAMES)),
]  # fmt: skip
POSTGRES_HARM = [
    (["DROP TRIGGER event_no_delete ON facility_event"], ["event_no_delete"]),
    (["ALTER TABLE facility_event DISABLE TRIGGER event_no_update"], ["event_no_update"]),
    (["ALTER TABLE facility_event ENABLE TRIGGER event_no_update"], ["event_no_update"]),
    (
        ["CREATE OR REPLACE FUNCTION facility_event_refuse() RETURNS trigger LANGUAGE plpgsql AS 'BEGIN RETURN OLD; END'"],
        ["event_no_delete", "event_no_truncate", "event_no_update"],
    ),
    (["CREATE RULE aside AS ON INSERT TO facility_event DO INSTEAD NOTHING"], ["aside"]),
]  # fmt: skip


@pytest.mark.parametrize(("statements", "wrong"), SQLITE_HARM)
def test_harm_to_the_triggers_is_seen_and_put_right_on_sqlite(
    sqlite_store: Store, statements: Sequence[str], wrong: list[str]
) -> None:
    harm_is_seen_and_put_right(sqlite_store, statements, wrong)


@pytest.mark.postgres
@pytest.mark.parametrize(("statements", "wrong"), POSTGRES_HARM)
def test_harm_to_the_triggers_is_seen_and_put_right_on_postgresql(
    postgres_store: Store, statements: Sequence[str], wrong: list[str]
) -> None:
    harm_is_seen_and_put_right(postgres_store, statements, wrong)


def harm_is_seen_and_put_right(store: Store, statements: Sequence[str], wrong: list[str]) -> None:
    fill(2)
    store.run(*statements)
    connection.close()
    names = ", ".join(wrong)
    assert triggers.missing() == wrong
    assert record_check.verify().faults == (f"The event table lacks its triggers as they must be: {names}.",)
    [message] = check_event_triggers(None, databases=["default"])
    assert (message.id, names in message.msg) == ("facility.E101", True)
    assert triggers.ensure() == wrong
    assert triggers.missing() == []
    newest = Event.objects.latest("seq")
    assert (newest.seq, newest.action, newest.actor) == (3, "security:triggers-restored", "system:start")
    assert json.loads(newest.payload)["after"] == {"triggers": names}
    assert check_event_triggers(None, databases=["default"]) == []
    assert record_check.verify().ok
    with pytest.raises(Refused, match="kept for ever"):
        store.run("DELETE FROM facility_event")


def test_the_system_check_asks_no_database_that_was_not_named(sqlite_store: Store) -> None:
    sqlite_store.drop_triggers()
    assert check_event_triggers(None, databases=None) == []
    assert sqlite_store.manage("check").returncode == 0
    refused = sqlite_store.manage("check", "--database", "default")
    assert refused.returncode == 1
    assert "facility.E101" in refused.stderr


def test_migrate_points_to_the_command_that_puts_the_triggers_right(sqlite_store: Store) -> None:
    sqlite_store.drop_triggers()
    refused = sqlite_store.manage("migrate")
    assert refused.returncode == 1
    assert "`manage.py up --no-serve` puts them right" in refused.stderr
    assert sqlite_store.manage("up", "--no-serve").returncode == 0
    assert triggers.missing() == []
    assert sqlite_store.manage("migrate").returncode == 0


def test_emptying_the_tables_after_drop_leaves_working_triggers_and_no_event(either: Store) -> None:
    """As the flush at the end of a test with real transactions does."""
    fill(2)
    triggers.drop()
    call_command("flush", interactive=False, verbosity=0)
    assert triggers.missing() == []
    assert Event.objects.count() == 0
    assert fill(1)[0].seq == 1


def test_migrating_back_and_forth_keeps_the_triggers(either: Store) -> None:
    fill(1)
    call_command("migrate", "facility", "0001", verbosity=0, interactive=False)
    assert triggers.missing() == []
    call_command("migrate", verbosity=0, interactive=False)
    assert triggers.missing() == []
    assert record_check.verify().ok


@pytest.mark.postgres
def test_a_user_who_does_not_own_the_table_is_told_what_to_do(superuser_store: Store) -> None:
    role = superuser_store.url.rsplit("/", 1)[1] + "_app"
    superuser_store.drop_triggers()
    superuser_store.run(f"CREATE ROLE {role}", f"GRANT ALL ON ALL TABLES IN SCHEMA public TO {role}")
    try:
        with connection.cursor() as cursor:
            cursor.execute(f"SET ROLE {role}")
        with pytest.raises(triggers.TriggersError, match=r"as the database user who owns the table"):
            triggers.ensure()
    finally:
        connection.close()
        superuser_store.run(f"DROP OWNED BY {role}", f"DROP ROLE {role}")
