"""Each service: one transaction, one event with old and new values, a reason where something changes."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pytest
from django.core.exceptions import ValidationError
from django.db import transaction

from facility import events, record_check, services
from facility.events import Actor
from facility.models import Event, HouseRule, Kept, Organisation, Site
from facility.services import ChangedMeanwhileError
from tests import make

if TYPE_CHECKING:
    from collections.abc import Callable

pytestmark = [pytest.mark.django_db, pytest.mark.postgres]

ADA = Actor("Ada Moe", user_id=7, role="supervisor", session="abcd1234")
NOON = datetime(2026, 3, 12, 12, 0, tzinfo=UTC)


def told_since(seq: int) -> list[tuple[Event, dict[str, Any]]]:
    """Return the events after one, each with its parsed text."""
    return [(event, json.loads(event.payload)) for event in Event.objects.filter(seq__gt=seq)]


def newest() -> int:
    event = Event.objects.order_by("-seq").first()
    return event.seq if event else 0


def rule(at: Site, **fields: Any) -> HouseRule:
    content = {"site": at, "key": "check_age_min", "value": Decimal(1440), "approved_by": "Ada Moe"}
    return HouseRule(**content | {"in_force_from": NOON, "occurred_at": NOON} | fields)


def stored_values(row: Kept) -> dict[str, Any]:
    return dict(type(row)._default_manager.filter(pk=row.pk).values().get())


# --- add -----------------------------------------------------------------------------------------


def test_adding_stores_the_row_and_one_event_with_its_values() -> None:
    at, seq = make.site(key="skerrow"), newest()
    row = services.add(rule(at), by=ADA, reason="first rules", late=True)
    [(event, told)] = told_since(seq)
    assert (event.action, event.subject_kind, event.subject_id) == ("added", "facility.houserule", row.pk)
    assert (told["actor"], told["actor_id"], told["role"]) == ("Ada Moe", "7", "supervisor")
    assert (told["site"], told["reason"], told["late"]) == ("skerrow", "first rules", "yes")
    assert told["occurred_at"] == "2026-03-12T12:00:00+00:00"
    assert told["before"] == {}
    assert (told["after"]["key"], told["after"]["value"]) == ("check_age_min", "1440")
    assert (row.recorded_by, row.retired_at, row.row_version) == ("Ada Moe", None, 1)


def test_the_time_of_recording_is_the_servers_whatever_the_row_says(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(events, "now", lambda: NOON)
    row = Organisation(key="o", name="O", recorded_at=NOON - timedelta(days=900), recorded_by="somebody else")
    services.add(row, by=ADA)
    row.refresh_from_db()
    assert (row.recorded_at, row.recorded_by) == (NOON, "Ada Moe")
    assert Event.objects.latest("seq").recorded_at == NOON


def test_a_row_that_a_field_refuses_leaves_neither_row_nor_event() -> None:
    seq = newest()
    with pytest.raises(ValidationError, match="not a time zone"):
        make.site(organisation=make.organisation(), zone="Middle/Earth")
    assert [event.subject_kind for event, _told in told_since(seq)] == ["facility.organisation"]
    assert not Site.objects.exists()


def test_an_event_that_cannot_be_written_takes_its_row_with_it(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_args: object, **_named: object) -> None:
        raise RuntimeError("no event")

    monkeypatch.setattr(events, "record", refuse)
    with pytest.raises(RuntimeError, match="no event"):
        services.add(Organisation(key="o", name="O"), by=ADA)
    assert not Organisation.objects.exists()


def test_nobody_cannot_add() -> None:
    with pytest.raises(ValueError, match="actor's name is blank"):
        services.add(Organisation(key="o", name="O"), by=Actor(" "))
    assert not Organisation.objects.exists()


# --- change --------------------------------------------------------------------------------------


def test_a_change_keeps_the_old_and_the_new_value_and_the_reason() -> None:
    row = make.equipment(name="Depth gauge")
    seq = newest()
    row.name = "Depth gauge, outer lock"
    services.change(row, by=ADA, reason="  wrong plate read ", shown_version=1)
    [(event, told)] = told_since(seq)
    assert (event.action, event.subject_id, event.reason) == ("corrected", row.pk, "wrong plate read")
    differing = {name for name in told["before"] if told["before"][name] != told["after"][name]}
    assert differing == {"name"}
    assert (told["before"]["name"], told["after"]["name"]) == ("Depth gauge", "Depth gauge, outer lock")
    row.refresh_from_db()
    assert (row.name, row.row_version, row.recorded_by) == ("Depth gauge, outer lock", 2, "Ada Moe")


def test_after_three_changes_the_first_value_can_still_be_read() -> None:
    row = make.organisation(name="First")
    for version, name in enumerate(["Second", "Third", "Fourth"], 1):
        row.name = name
        services.change(row, by=ADA, reason="renamed", shown_version=version)
    texts = [json.loads(event.payload) for event in Event.objects.filter(subject_id=row.pk)]
    assert [told["after"]["name"] for told in texts] == ["First", "Second", "Third", "Fourth"]
    assert [told["before"].get("name") for told in texts] == [None, "First", "Second", "Third"]


def test_a_change_of_a_row_that_somebody_else_changed_is_refused_with_the_stored_version() -> None:
    mine = make.organisation(name="As shown to both")
    theirs = Organisation.objects.get(pk=mine.pk)
    theirs.name = "Theirs"
    services.change(theirs, by=ADA, reason="renamed", shown_version=1)
    seq, mine.name = newest(), "Mine"
    with pytest.raises(ChangedMeanwhileError, match="was changed by Ada Moe meanwhile") as caught:
        services.change(mine, by=make.BY, reason="renamed", shown_version=1)
    assert str(caught.value.stored) == "Theirs"
    assert Organisation.objects.get(pk=mine.pk).name == "Theirs"
    assert told_since(seq) == []


def test_a_change_that_a_constraint_refuses_leaves_the_row_as_it_was() -> None:
    lock = make.lock()
    before, seq = stored_values(lock), newest()
    lock.volume = Decimal(0)
    with pytest.raises(ValidationError, match="must be more than 0"):
        services.change(lock, by=ADA, reason="typed wrong", shown_version=1)
    assert stored_values(lock) == before
    assert told_since(seq) == []


# --- supersede -----------------------------------------------------------------------------------


def test_a_superseded_statement_stays_readable_and_one_event_tells_of_both() -> None:
    at = make.site()
    old = services.add(rule(at), by=make.BY)
    seq = newest()
    new = services.supersede(old, rule(at, value=Decimal(720), version=2), by=ADA, reason="rounds twice a day")
    [(event, told)] = told_since(seq)
    assert (event.action, event.subject_id) == ("superseded", new.pk)
    assert Decimal(told["before"]["value"]) == 1440
    assert Decimal(told["after"]["value"]) == 720
    assert (told["after"]["supersedes_id"], told["reason"]) == (str(old.pk), "rounds twice a day")
    old.refresh_from_db()
    assert (old.value, old.retired_reason, old.is_current) == (Decimal(1440), "rounds twice a day", False)
    assert list(HouseRule.objects.filter(retired_at=None)) == [new]


def test_the_old_values_come_from_the_database_not_from_a_row_that_a_form_altered() -> None:
    at = make.site()
    old = services.add(rule(at), by=make.BY)
    old.value = Decimal(5)
    services.supersede(old, rule(at, value=Decimal(5), version=2), by=ADA, reason="shorter")
    assert Decimal(json.loads(Event.objects.latest("seq").payload)["before"]["value"]) == 1440


def test_a_statement_is_superseded_once_only() -> None:
    at = make.site()
    old = services.add(rule(at), by=make.BY)
    services.supersede(old, rule(at, version=2), by=ADA, reason="first")
    seq = newest()
    with pytest.raises(ChangedMeanwhileError):
        services.supersede(old, rule(at, version=3), by=ADA, reason="second")
    assert HouseRule.objects.count() == 2
    assert told_since(seq) == []


def test_a_refused_new_statement_leaves_the_old_one_in_force() -> None:
    at = make.site()
    old = services.add(rule(at), by=make.BY)
    seq = newest()
    with pytest.raises(ValidationError):
        services.supersede(old, rule(at, approved_by=""), by=ADA, reason="shorter")
    old.refresh_from_db()
    assert old.is_current
    assert told_since(seq) == []


# --- retire --------------------------------------------------------------------------------------


def test_a_retired_row_stays_readable_with_its_reason() -> None:
    row = make.equipment()
    seq = newest()
    services.retire(row, by=ADA, reason="scrapped", at=NOON)
    [(event, told)] = told_since(seq)
    assert (event.action, event.subject_id, told["reason"]) == ("retired", row.pk, "scrapped")
    assert (told["before"], told["after"]) == ({"retired_at": ""}, {"retired_at": str(NOON)})
    row.refresh_from_db()
    assert (row.retired_at, row.retired_reason, row.row_version) == (NOON, "scrapped", 2)


def test_a_row_is_retired_once_only() -> None:
    row = make.equipment()
    services.retire(row, by=ADA, reason="scrapped")
    seq = newest()
    with pytest.raises(ChangedMeanwhileError):
        services.retire(row, by=ADA, reason="scrapped again")
    assert told_since(seq) == []


# --- every service -------------------------------------------------------------------------------


def change(reason: str) -> None:
    services.change(make.organisation(), by=ADA, reason=reason, shown_version=1)


def supersede(reason: str) -> None:
    at = make.site()
    services.supersede(services.add(rule(at), by=make.BY), rule(at, version=2), by=ADA, reason=reason)


def retire(reason: str) -> None:
    services.retire(make.organisation(), by=ADA, reason=reason)


def add(reason: str) -> None:
    services.add(Organisation(key="added", name="Added"), by=ADA, reason=reason)


@pytest.mark.parametrize("service", [change, supersede, retire])
@pytest.mark.parametrize("reason", ["", " ", "\t\n", "\u00a0"])
def test_a_blank_reason_is_refused(service: Callable[[str], None], reason: str) -> None:
    with pytest.raises(ValidationError, match="Give a reason"):
        service(reason)
    assert not Event.objects.filter(actor="Ada Moe").exists()


@pytest.mark.parametrize("service", [add, change, supersede, retire])
def test_a_transaction_that_fails_later_leaves_neither_row_nor_event(service: Callable[[str], None]) -> None:
    with pytest.raises(RuntimeError, match="later"), transaction.atomic():  # noqa: PT012  # the service must not raise
        service("a reason")
        assert Event.objects.filter(actor="Ada Moe").count() == 1
        raise RuntimeError("later")
    assert not Event.objects.exists()
    assert not Organisation.objects.exists()


@pytest.mark.parametrize("service", [add, change, supersede, retire])
def test_the_log_is_sound_after_each_service(service: Callable[[str], None]) -> None:
    service("a reason")
    assert record_check.verify().faults == ()


def test_lists_are_told_as_json_and_nothing_as_an_empty_text() -> None:
    """Source of the expected text: RFC 8259, an array of one object."""
    assert services.as_text([{"minutes": 25, "allowed": 2}]) == '[{"allowed": 2, "minutes": 25}]'
    assert services.as_text(None) == ""
    assert services.as_text(Decimal("60.50")) == "60.50"
