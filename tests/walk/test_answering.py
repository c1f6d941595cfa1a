"""Beginning, answering, repeating, correcting: nothing is lost, nothing is stored twice."""

from __future__ import annotations

import json
import uuid
from datetime import timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from django.core.exceptions import ValidationError

from facility import events
from facility.compute.sheets import ImplausibleError, SheetError, Typed
from facility.models import Answer, Check, CheckState, Event, HouseRule
from facility.services import ChangedMeanwhileError, add
from facility.walk import answering, services
from facility.walk.answering import Given, Slip
from facility.walk.services import AlreadySignedError
from facility.walk.sheet_services import VersionDraft, save_version
from maintenance.models import BankReading
from tests import make
from tests.walk.walking import all_good, begin, give, sign, world

if TYPE_CHECKING:
    from collections.abc import Callable

pytestmark = pytest.mark.django_db


def test_beginning_twice_takes_up_the_same_check() -> None:
    w = world()
    first, was_open = services.start(w.sheet, by=w.by)
    again, was_open_again = services.start(w.sheet, by=w.by)
    assert (was_open, was_open_again) == (False, True)
    assert first == again
    assert Check.objects.count() == 1


def test_numbers_go_on_over_all_sheets_of_a_site() -> None:
    w = world()
    other = make.sheet(w.sheet.chamber)
    assert [begin(w).number, services.start(other, by=w.by)[0].number] == [1, 2]


def test_a_sheet_without_a_version_cannot_be_walked() -> None:
    w = world()
    version = w.sheet.versions.get()
    from facility.services import retire

    retire(version, by=w.by, reason="withdrawn")
    with pytest.raises(ValidationError, match="no version in force"):
        begin(w)


def test_an_answer_is_stored_with_its_event_and_marks_where_the_walk_stands() -> None:
    w = world()
    check = begin(w)
    stored = give(w, check, "supply", Typed(value="6,9"))
    check.refresh_from_db()
    event = Event.objects.get(seq=stored.entry)
    payload = json.loads(event.payload)
    assert (stored.answer.value, stored.answer.unit, stored.answer.outcome) == ("6.9", "bar", "bad")
    assert check.here == "supply"
    assert payload["after"]["value"] == "6.9"
    assert payload["actor"] == str(w.user)
    assert not stored.answer.late


def test_a_repeat_is_stored_once() -> None:
    w = world()
    check = begin(w)
    key = uuid.uuid4()
    first = give(w, check, "supply", Typed(value="8,1"), client_id=key)
    again = give(w, check, "supply", Typed(value="8,1"), client_id=key, seconds_ago=90)
    assert (first.repeat, again.repeat) == (False, True)
    assert first.entry == again.entry
    assert Answer.objects.count() == 1


def test_the_same_id_with_another_reading_is_refused_and_names_the_stored_one() -> None:
    w = world()
    check = begin(w)
    key = uuid.uuid4()
    give(w, check, "supply", Typed(value="8.1"), client_id=key)
    with pytest.raises(ValidationError, match="stored before as “supply: 8.1”"):
        give(w, check, "supply", Typed(value="8.2"), client_id=key)
    with pytest.raises(ValidationError, match="stored before"):
        give(w, check, "door", Typed("good"), client_id=key)


def test_two_answers_to_one_step_are_both_kept() -> None:
    w = world()
    check = begin(w)
    give(w, check, "supply", Typed(value="8.1"))
    give(w, check, "supply", Typed(value="6.9"))
    assert list(Answer.objects.filter(step="supply", retired_at=None).values_list("value", flat=True)) == ["8.1", "6.9"]
    all_good(w, check, leave_out=("supply",))
    assert sign(w, check)[0].result == "failed"


def test_a_slip_is_corrected_with_a_reason_and_the_old_value_stays() -> None:
    w = world()
    check = begin(w)
    old = give(w, check, "supply", Typed(value="81")).answer
    answering.correct(old.pk, Slip(Typed(value="8.1"), "point left out", uuid.uuid4()), site=w.site, by=w.by)
    old.refresh_from_db()
    assert (old.value, old.retired_reason, old.superseded_by.value) == ("81", "point left out", "8.1")
    all_good(w, check, leave_out=("supply",))
    assert sign(w, check)[0].result == "passed"


def test_a_correction_needs_a_reason_and_wins_only_once() -> None:
    w = world()
    check = begin(w)
    old = give(w, check, "supply", Typed(value="81")).answer
    with pytest.raises(ValidationError, match="Give a reason"):
        answering.correct(old.pk, Slip(Typed(value="8.1"), " ", uuid.uuid4()), site=w.site, by=w.by)
    answering.correct(old.pk, Slip(Typed(value="8.1"), "slip", uuid.uuid4()), site=w.site, by=w.by)
    with pytest.raises(ChangedMeanwhileError):
        answering.correct(old.pk, Slip(Typed(value="8.2"), "slip", uuid.uuid4()), site=w.site, by=w.by)
    assert Answer.objects.filter(retired_at=None).count() == 1


@pytest.mark.parametrize("who", ["the same person", "of another site", "nobody known"])
def test_the_second_person_is_another_one_of_this_site(who: str) -> None:
    w = world()
    check = begin(w)
    if who == "the same person":
        pk = make.person(w.site, user=w.user).pk
    elif who == "of another site":
        pk = make.person().pk
    else:
        pk = 10**6
    with pytest.raises(ValidationError, match="second person"):
        give(w, check, "speech", Typed("good"), second=pk)
    assert give(w, check, "speech", Typed("good"), second=w.second.pk).answer.second_person == "Second Tester"


def test_refused_answers_leave_nothing_behind() -> None:
    w = world()
    check = begin(w)
    before = Event.objects.count()
    for typed, error in [
        (Typed(value="3000"), ImplausibleError),
        (Typed(value="8 psi"), SheetError),
        (Typed(value="x"), SheetError),
    ]:
        with pytest.raises(error):
            give(w, check, "supply", typed)
    with pytest.raises(ValidationError, match="has no step “window”"):
        give(w, check, "window", Typed("good"))
    assert not Answer.objects.exists()
    assert Event.objects.count() == before
    assert give(w, check, "supply", Typed(value="3000", sure=True)).answer.outcome == "bad"


@pytest.mark.parametrize(("seconds", "late"), [(0, False), (3500, False), (3700, True), (10**9, True)])
def test_an_entry_sent_long_after_it_was_made_is_marked_late(seconds: int, late: bool) -> None:
    w = world()
    stored = give(w, begin(w), "door", Typed("good"), seconds_ago=seconds)
    assert stored.answer.late is late
    assert Event.objects.get(seq=stored.entry).late is late
    assert stored.answer.occurred_at is not None
    assert stored.answer.recorded_at - stored.answer.occurred_at <= timedelta(days=30, seconds=5)


def test_the_site_sets_when_an_entry_is_late() -> None:
    w = world()
    add(
        HouseRule(site=w.site, key="late_entry_min", value=Decimal(1), approved_by="x", in_force_from=events.now()),
        by=w.by,
    )
    assert give(w, begin(w), "door", Typed("good"), seconds_ago=120).answer.late


def test_a_clock_set_back_is_stored_and_marked(monkeypatch: pytest.MonkeyPatch) -> None:
    w = world()
    check = begin(w)
    real = events.now
    monkeypatch.setattr(events, "now", lambda: real() - timedelta(hours=2))
    stored = give(w, check, "door", Typed("good"))
    assert stored.clock_suspect
    assert Event.objects.get(seq=stored.entry).clock_suspect


def test_a_reading_of_a_bank_is_kept_by_the_bank_too() -> None:
    steps = [make.STEPS[1] | {"key": "o2", "bank": "oxygen-1", "low": "60", "high": ""}]
    w = world(steps=steps)
    bank = make.bank(w.site, key="oxygen-1")
    check = begin(w)
    first = give(w, check, "o2", Typed(value="148.125")).answer
    reading = BankReading.objects.get()
    assert (reading.bank, reading.pressure, reading.unit, reading.answer) == (bank, Decimal("148.12"), "bar", first)
    answering.correct(first.pk, Slip(Typed(value="91"), "wrong gauge", uuid.uuid4()), site=w.site, by=w.by)
    current = BankReading.objects.get(retired_at=None)
    assert (current.pressure, current.supersedes_id) == (Decimal("91.00"), reading.pk)


def test_a_bank_the_site_does_not_have_costs_no_answer() -> None:
    w = world(steps=[make.STEPS[1] | {"key": "o2", "bank": "gone"}])
    assert give(w, begin(w), "o2", Typed(value="8")).answer.pk
    assert not BankReading.objects.exists()


def test_a_sheet_changed_meanwhile_leaves_the_open_check_its_version() -> None:
    w = world()
    check = begin(w)
    shorter = VersionDraft(make.STEPS[:1], "Ina Test", events.now(), "shorter", 1)
    save_version(w.sheet, shorter, by=w.by)
    give(w, check, "supply", Typed(value="8"))
    all_good(w, check, leave_out=("supply",))
    assert sign(w, check)[0].version.version == 1
    assert begin(w).version.version == 2


def test_nothing_is_answered_after_the_signature_or_in_a_check_given_up() -> None:
    w = world()
    check = begin(w)
    all_good(w, check)
    sign(w, check)
    with pytest.raises(AlreadySignedError, match="already signed by"):
        give(w, check, "door", Typed("bad"))
    other = begin(w)
    services.give_up(other.pk, reason="called away", site=w.site, by=w.by)
    with pytest.raises(ValidationError, match="given up"):
        give(w, other, "door", Typed("good"))


def test_a_reading_taken_before_the_signature_but_sent_after_it_takes_the_signature_back() -> None:
    """Otherwise a tablet out of reach could hold a failed reading while the chamber shows ready."""
    w = world()
    check = begin(w)
    all_good(w, check)
    sign(w, check)
    give(w, check, "supply", Typed(value="6.9"), seconds_ago=600)
    check.refresh_from_db()
    assert (check.state, check.result, check.signed_by, check.signed_at) == (CheckState.OPEN, "", "", None)
    assert Event.objects.filter(action="check reopened").count() == 1
    assert sign(w, check)[0].result == "failed"


def test_another_site_cannot_answer() -> None:
    w = world()
    check = begin(w)
    stranger = make.site()
    with pytest.raises(Check.DoesNotExist):
        answering.answer(check.pk, Given(uuid.uuid4(), "door", Typed("good")), site=stranger, by=w.by)


def test_breaking_off_is_kept_until_the_next_answer() -> None:
    w = world()
    check = begin(w)
    give(w, check, "door", Typed("good"))
    services.leave(check.pk, site=w.site, by=w.by)
    check.refresh_from_db()
    assert check.left_off_at is not None
    assert check.here == "door"
    give(w, check, "supply", Typed(value="8"))
    check.refresh_from_db()
    assert check.left_off_at is None


def test_one_answer_costs_few_queries(django_assert_max_num_queries: Callable[..., object]) -> None:
    """The check, a repeat, the row, the last event, the event, the pointer; savepoints beside."""
    w = world()
    check = begin(w)
    with django_assert_max_num_queries(9):  # type: ignore[attr-defined]  # a context manager
        give(w, check, "supply", Typed(value="8"))
