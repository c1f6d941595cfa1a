"""Threats to what is recorded: each test is named after the threat, and says what stops it."""

from __future__ import annotations

import uuid
from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test import Client
from django.urls import reverse

from facility import events, record_check, services, triggers
from facility.compute.sheets import Typed
from facility.models import Answer, Check, CheckState, Event, Person, Signature, SiteRole
from facility.walk import signing
from maintenance.models import Defect, WorkRecord
from maintenance.services import confirm_days, record_work
from tests import make
from tests.facility.events.store import Refused, Store, fill
from tests.maintenance.test_defects import defect
from tests.maintenance.working.support import repaired
from tests.visits.test_findings import client_of
from tests.walk.walking import World, all_good, begin, give, page_of, sign


def signing_page(w: World, pk: int) -> str:
    return reverse("walk:sign", args=[w.site.key, pk])


def holds(pk: int) -> bool:
    """Return whether the one signature of a check still stands."""
    check = Check.objects.select_related("version", "sheet").get(pk=pk)
    return signing.holds(Signature.objects.get(), check, signing.answers_of(check))


@pytest.mark.django_db
def test_forged_readiness_sign_off_from_an_open_session_needs_the_password(w: World) -> None:
    """Somebody else's open session signs nothing; a changed sheet makes a given signature void."""
    client = Client()
    client.force_login(w.user)
    check = begin(w)
    all_good(w, check)
    shown = page_of(w, check)
    assert client.post(signing_page(w, check.pk), {"shown": shown}).status_code == 422
    assert client.post(signing_page(w, check.pk), {"shown": shown, "password": "guess"}).status_code == 422
    assert not Signature.objects.exists()
    sign(w, check)
    assert holds(check.pk)
    with connection.cursor() as cursor:
        cursor.execute("UPDATE facility_answer SET value = '8.9' WHERE step = 'supply'")
    assert not holds(check.pk)


@pytest.mark.django_db
def test_forged_readiness_sign_off_by_taking_a_tag_off_from_an_open_session_needs_the_password() -> None:
    """A return to service is signed like a check: without the password, or with a wrong one, the tag stays on."""
    site = make.site()
    row = defect(site)
    repaired(row)
    client = client_of(site, SiteRole.MAINTAINER)
    page = reverse("maintenance:return_to_service", args=[site.key, row.pk])
    typed = {
        "at": "12 Mar 2026 18:00", "done": "Held.", "result": "passed", "witness": make.person(site).pk, "shown_version": "1",
    }  # fmt: skip
    assert client.post(page, typed).status_code == 422
    refused = client.post(page, typed | {"password": "guess"})
    assert refused.status_code == 422
    assert "Held." in refused.content.decode(), "nothing typed is lost"
    assert not Defect.objects.filter(returned_at__isnull=False).exists()
    assert client.post(page, typed | {"password": make.PASSWORD}).status_code == 302
    assert Defect.objects.filter(returned_at__isnull=False).exists()


@pytest.mark.django_db
def test_forged_readiness_sign_off_by_the_same_person_under_two_roles_is_no_second_look() -> None:
    """Who read the days off a scan cannot be the other person that they wait for, however the name is written."""
    row = WorkRecord(equipment=make.equipment(), done_on=make.DAY, done_by="Lab", needs_second_look=True)
    waiting = record_work(row, by=events.system("first"))
    with pytest.raises(ValidationError, match="another person"):
        confirm_days(waiting, (make.DAY, None), by=events.system("FIRST"), shown_version=1)
    waiting.refresh_from_db()
    assert waiting.needs_second_look


@pytest.mark.django_db
def test_sign_off_with_an_item_that_failed_between_look_and_signature_is_refused(w: World) -> None:
    check = begin(w)
    all_good(w, check)
    shown = page_of(w, check)
    give(w, check, "supply", Typed(value="6.9"))
    with pytest.raises(ValidationError):
        sign(w, check, shown)
    check.refresh_from_db()
    assert check.state == CheckState.OPEN
    assert sign(w, check)[0].result == "failed", "signed as it is, it says so"


@pytest.mark.django_db
def test_back_dated_record_keeps_the_servers_time_whatever_is_sent(w: World) -> None:
    """Neither a forged time of recording nor one of happening is taken; late marks have their tests with checks and logs."""
    client = Client()
    client.force_login(w.user)
    check = begin(w)
    entry = {
        "client_id": str(uuid.uuid4()), "step": "supply", "outcome": "good", "value": "8.1", "unit": "bar",
        "recorded_at": "2001-01-01T00:00:00Z", "occurred_at": (events.now() - timedelta(days=3)).isoformat(),
    }  # fmt: skip
    before = events.now()
    client.post(
        reverse("walk:answer", args=[w.site.key, check.pk]), entry, content_type="application/json",
        headers={"accept": "application/json"},
    )  # fmt: skip
    answer = Answer.objects.get()
    assert answer.recorded_at >= before
    assert Event.objects.latest("seq").recorded_at >= before


@pytest.mark.django_db
def test_back_dated_record_that_says_it_happened_days_ago_is_marked_late_on_the_page_and_in_the_log(w: World) -> None:
    check = begin(w)
    stored = give(w, check, "supply", Typed(value="8.1"), seconds_ago=3 * 24 * 3600)
    assert stored.answer.late
    assert Event.objects.get(seq=stored.entry).late
    client = Client()
    client.force_login(w.user)
    assert "late, entered " in client.get(signing_page(w, check.pk)).content.decode()


@pytest.mark.django_db
def test_failed_calibration_deleted_is_not_possible_through_the_program() -> None:
    """There is no way that deletes; what was wrong stays readable with its reason."""
    record = make.work(make.rule(), make.DAY, result="failed")
    services.retire(record, by=make.BY, reason="wrong gauge")
    assert WorkRecord.objects.get(pk=record.pk).result == "failed"
    event = Event.objects.latest("seq")
    assert (event.action, event.reason) == ("retired", "wrong gauge")


def test_failed_calibration_deleted_past_the_program_is_named(sqlite_store: Store) -> None:
    """A raw delete of its event is refused; with the triggers dropped the gap is named."""
    fill(5)
    with pytest.raises(Refused):
        sqlite_store.run("DELETE FROM facility_event WHERE seq = 3")
    sqlite_store.drop_triggers()
    sqlite_store.run("DELETE FROM facility_event WHERE seq = 3")
    triggers.ensure()
    assert "Gap: after event 2 comes event 4" in record_check.verify().first_fault


def test_tail_cut_is_found_against_a_count_noted_outside(sqlite_store: Store) -> None:
    """Five rows cut: the chain alone is whole, the noted head is not met any more."""
    fill(10)
    noted = (10, bytes(Event.objects.get(seq=10).digest).hex())
    sqlite_store.drop_triggers()
    sqlite_store.run("DELETE FROM facility_event WHERE seq > 5")
    triggers.ensure()
    assert record_check.verify().ok
    assert not record_check.verify(at_least=noted).ok


def test_insider_with_the_database_file_is_named_by_verifying(sqlite_store: Store) -> None:
    fill(4)
    sqlite_store.drop_triggers()
    sqlite_store.run("UPDATE facility_event SET payload = replace(payload, '1 fsw', '9 fsw') WHERE seq = 2")
    triggers.ensure()
    assert record_check.verify().first_fault.startswith("The text of event 2 was changed")


@pytest.mark.django_db
def test_treatment_log_lost_at_a_power_cut_is_sent_again_and_stored_once(w: World) -> None:
    """The device's own number makes the second sending harmless; commits wait for the disk (tests of the event log)."""
    check = begin(w)
    number = uuid.uuid4()
    for _time in range(3):
        give(w, check, "supply", Typed(value="8.1"), client_id=number)
    assert Answer.objects.count() == 1


@pytest.mark.django_db
def test_concurrent_edit_is_refused_with_what_the_other_stored() -> None:
    person = make.person()
    mine, theirs = (Person.objects.get(pk=person.pk) for _one in range(2))
    theirs.name = "Theirs"
    services.change(theirs, by=make.BY, reason="first", shown_version=1)
    mine.name = "Mine"
    with pytest.raises(services.ChangedMeanwhileError):
        services.change(mine, by=make.BY, reason="second", shown_version=1)
    assert Person.objects.get(pk=person.pk).name == "Theirs"


@pytest.mark.django_db
def test_clock_set_back_is_stored_and_marked(monkeypatch: pytest.MonkeyPatch) -> None:
    make.site()
    newest = Event.objects.latest("seq")
    monkeypatch.setattr(events, "now", lambda: newest.recorded_at - timedelta(days=1))
    make.site()
    event = Event.objects.get(seq=newest.seq + 1)
    assert event.clock_suspect


@pytest.mark.django_db
def test_clock_set_back_while_the_box_was_off_is_marked_by_the_log_itself(monkeypatch: pytest.MonkeyPatch) -> None:
    """A process just started has no steady clock to compare with: the time of the newest event tells it."""
    make.site()
    newest = Event.objects.latest("seq")
    monkeypatch.setattr(events._Clocks, "last", None)
    monkeypatch.setattr(events, "now", lambda: newest.recorded_at - timedelta(minutes=1))
    make.site()
    assert Event.objects.get(seq=newest.seq + 1).clock_suspect
