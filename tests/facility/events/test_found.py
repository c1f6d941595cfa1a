"""What the owner of the database does after dropping the triggers: verify() names it."""

from __future__ import annotations

import pytest
from django.core.management import call_command
from django.db import connection, models, transaction

from facility import events, record_check, services, triggers
from facility.compute.chain import GENESIS, chain_digest
from facility.events import What
from facility.models import Event, Organisation
from tests.facility.events.store import BY, Refused, Store, fill


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
                f"UPDATE facility_event SET payload = {mark}, prev = {mark}, digest = {mark} WHERE seq = {mark}",  # noqa: S608
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
    either.run(f"DELETE FROM facility_organisation WHERE id = {row.pk}")  # noqa: S608
    assert record_check.verify().faults == (f"Event 1 tells of organisation number {row.pk}, but that row is gone.",)


def test_a_cut_end_is_found_without_a_note_if_it_told_of_a_row(either: Store) -> None:
    services.add(Organisation(key="here", name="Here"), by=BY)
    either.drop_triggers()
    either.run("DELETE FROM facility_event WHERE seq = 1")
    triggers.create(connection)
    assert record_check.verify().first_fault.startswith("Row without event: organisation number 1 ")


def test_a_rebuild_of_the_table_gets_its_triggers_back_with_an_event(either: Store) -> None:
    fill(2)
    longer = models.CharField(max_length=99)
    longer.set_attributes_from_name("action")
    longer.model = Event
    with connection.schema_editor() as editor:
        editor.alter_field(Event, Event._meta.get_field("action"), longer)
    if either.is_sqlite:
        assert either.rows("SELECT name FROM sqlite_master WHERE type = 'trigger'") == [], "why the hook is needed"
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
