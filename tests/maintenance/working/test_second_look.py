"""Days read off a scan count once a second, different person has read them too."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse

from facility import events
from facility.models import Event, Site
from facility.services import ChangedMeanwhileError
from maintenance.models import Equipment, WorkRecord
from maintenance.services import confirm_days, correct_work, record_work, refuse_days
from maintenance.working.taking import successor
from tests import make
from tests.maintenance.working.support import signed_in
from tests.maintenance.working.test_work_pages import VALVE, address, picture

pytestmark = pytest.mark.django_db
FIRST, SECOND = events.system("first"), events.system("second")
DAYS = (date(2026, 3, 12), date(2027, 3, 12))


@pytest.fixture
def site() -> Site:
    return make.site(zone="Europe/Oslo")


@pytest.fixture
def item(site: Site) -> Equipment:
    return make.equipment(site, tag="RV-1", kind="relief_valve")


@pytest.fixture
def waiting(item: Equipment) -> WorkRecord:
    row = WorkRecord(equipment=item, done_on=DAYS[0], due_on=DAYS[1], done_by="Lab", needs_second_look=True)
    return record_work(row, by=FIRST)


def test_the_first_reader_cannot_be_the_second_whatever_the_letters(waiting: WorkRecord) -> None:
    again = events.system("FIRST")
    with pytest.raises(ValidationError, match="another person"):
        confirm_days(waiting, DAYS, by=again, shown_version=1)
    # nor after somebody else has touched the record meanwhile
    waiting.recorded_by = SECOND.name
    with pytest.raises(ValidationError, match="another person"):
        confirm_days(waiting, DAYS, by=FIRST, shown_version=1)


def test_other_days_than_the_first_are_refused_by_name(waiting: WorkRecord) -> None:
    for days, field in (((date(2026, 12, 3), DAYS[1]), "done_on"), ((DAYS[0], None), "due_on")):
        with pytest.raises(ValidationError) as error:
            confirm_days(waiting, days, by=SECOND, shown_version=1)
        assert list(error.value.message_dict) == [field]


def test_the_same_days_by_another_person_make_it_count_once(waiting: WorkRecord) -> None:
    confirm_days(waiting, DAYS, by=SECOND, shown_version=1)
    waiting.refresh_from_db()
    assert (waiting.needs_second_look, waiting.second_look_by) == (False, SECOND.name)
    assert Event.objects.latest("seq").action == "second look"
    with pytest.raises(ValidationError, match="does not wait"):
        confirm_days(waiting, DAYS, by=SECOND, shown_version=2)


def test_two_looking_at_once_are_told(waiting: WorkRecord) -> None:
    with pytest.raises(ChangedMeanwhileError):
        confirm_days(waiting, DAYS, by=SECOND, shown_version=7)


def test_a_refusal_puts_the_second_reading_in_place_and_the_first_reader_looks_next(waiting: WorkRecord) -> None:
    new = successor(waiting)
    new.done_on = date(2026, 2, 12)
    stored = refuse_days(waiting, new, by=SECOND, reason="It says February.")
    assert (stored.needs_second_look, stored.supersedes) == (True, waiting)
    with pytest.raises(ValidationError, match="another person"):
        confirm_days(stored, (new.done_on, DAYS[1]), by=SECOND, shown_version=1)
    confirm_days(stored, (new.done_on, DAYS[1]), by=FIRST, shown_version=1)
    assert not stored.needs_second_look


def test_the_same_days_are_no_refusal(waiting: WorkRecord) -> None:
    with pytest.raises(ValidationError, match="Confirm them instead"):
        refuse_days(waiting, successor(waiting), by=SECOND, reason="I do not like it.")


def test_a_correction_asks_for_the_second_look_again(waiting: WorkRecord) -> None:
    confirm_days(waiting, DAYS, by=SECOND, shown_version=1)
    new = successor(waiting)
    new.due_on = date(2027, 4, 1)
    stored = correct_work(waiting, new, by=SECOND, reason="misread")
    assert (stored.needs_second_look, stored.second_look_by) == (True, "")


def test_the_scan_is_taken_in_and_seen_by_the_second_person(site: Site, item: Equipment) -> None:
    first, second = (make.user(site, "maintainer", last_name=name) for name in ("Ash", "Birk"))
    one, two = signed_in(first), signed_in(second)
    one.post(address(item), VALVE | {"upload": picture(), "read_off": "on", "due_on": "12 Mar 2027"})
    work = WorkRecord.objects.get()
    assert work.needs_second_look
    assert work.evidence is not None
    page = reverse("maintenance:second_look_work", args=[site.key, work.pk])
    shown = two.get(page).content.decode()
    assert reverse("walk:evidence", args=[site.key, work.evidence.pk]) in shown
    assert "12 Mar 2027" not in shown  # what was typed first is not shown
    typed: dict[str, Any] = {"done_on": "12 Mar 2026", "due_on": "12 Mar 2027", "shown_version": work.row_version}
    assert one.post(page, typed).status_code == 422
    assert two.post(page, typed | {"due_on": "12 Mar 2028"}).status_code == 422
    assert two.post(page, typed | {"done_on": "12/03/2026"}).status_code == 422
    assert two.post(page, typed).status_code == 302
    work.refresh_from_db()
    assert (work.needs_second_look, work.second_look_by) == (False, second.get_full_name())


def test_the_page_of_refusal_asks_for_a_reason_and_stores_what_the_paper_says(site: Site, waiting: WorkRecord) -> None:
    client: Client = signed_in(make.user(site, "supervisor"))
    page = reverse("maintenance:second_look_work", args=[site.key, waiting.pk]) + "?refuse=1"
    typed = {"done_on": "Feb 2026", "due_on": "", "shown_version": 1}
    assert client.post(page, typed).status_code == 422
    assert client.post(page, typed | {"done_on": "1 Jan 2190", "reason": "x"}).status_code == 422
    assert client.post(page, typed | {"reason": "Only the month is stamped."}).status_code == 302
    new = WorkRecord.objects.get(retired_at=None)
    assert (new.done_on, new.month_only, new.due_on, new.needs_second_look) == (date(2026, 2, 28), True, None, True)
    waiting.refresh_from_db()
    assert waiting.retired_reason == "Only the month is stamped."
