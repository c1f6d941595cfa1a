"""The demo's last weeks: lived day by day since the box was set up; all counts by hand from weeks.toml and runs.toml."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from unittest.mock import patch
from zoneinfo import ZoneInfo

import pytest
from django.db import transaction
from django.test import override_settings

from facility import events
from facility.demo.clock import played_from
from facility.demo.errors import DemoError
from facility.demo.loading import load
from facility.models import Answer, Check, Checkpoint, Event, Job, Signature, User
from facility.record_check import verify
from facility.trust import looking
from maintenance.models import BankReading, Defect, WorkRecord
from tests import make
from tests.imports.test_demo import LoadedDemo
from treatments.models import LogEntry, RunSignature

OSLO = ZoneInfo("Europe/Oslo")
SET_UP = datetime(2026, 1, 22, 10, 30, tzinfo=OSLO)
JUST_AFTER_MIDNIGHT = datetime(2026, 2, 12, 0, 3, tzinfo=OSLO).astimezone(UTC)
EVENINGS, STEPS = 21, 58


class LoadedJustAfterMidnight(LoadedDemo):
    """Loaded three minutes after midnight, when the last evening is a few hours ago; both clocks stand still meanwhile."""

    day = date(2026, 2, 12)

    @classmethod
    def setUpTestData(cls) -> None:
        with (
            patch.object(events, "now", lambda: JUST_AFTER_MIDNIGHT),
            patch.object(events, "steady_seconds", lambda: 0.0),
            patch.object(events._Clocks, "last", None),  # nothing was recorded before in this process
        ):
            super().setUpTestData()

    def lived(self) -> Any:
        """Return the daily checks walked since the box was set up."""
        return Check.objects.filter(started_at__gte=SET_UP).order_by("started_at")

    def test_no_event_is_earlier_than_the_one_before_it_or_later_than_now(self) -> None:
        at = list(Event.objects.order_by("seq").values_list("recorded_at", flat=True))
        assert at == sorted(at)
        assert at[0] >= SET_UP
        assert at[-1] < JUST_AFTER_MIDNIGHT
        assert not Event.objects.filter(clock_suspect=True).exists()
        assert verify().ok

    def test_files_were_taken_in_on_the_day_of_setting_up_only(self) -> None:
        days = Event.objects.filter(action="imported").dates("recorded_at", "day")
        assert list(days) == [SET_UP.date()]
        each = Event.objects.dates("recorded_at", "day")
        assert list(each) == [SET_UP.date() + timedelta(days=n) for n in range(EVENINGS)]

    def test_each_evening_somebody_walked_every_step_and_signed(self) -> None:
        checks = self.lived()
        assert checks.count() == EVENINGS
        assert not checks.filter(on_paper=True).exists()
        for check in checks:
            answers = Answer.objects.filter(check_done=check, retired_at=None)
            assert answers.values("step").distinct().count() == answers.count() == STEPS
            times = answers.values_list("recorded_at", flat=True)
            assert check.started_at < min(times) <= max(times) < check.signed_at
            assert Signature.objects.get(check_done=check).user.username in {"supervisor", "operator"}

    def test_what_was_outside_its_limits_is_noted_and_led_to_a_defect(self) -> None:
        bad = Answer.objects.filter(outcome="bad", retired_at=None).order_by("recorded_at")
        assert [(str(one.recorded_at.date()), one.step) for one in bad] == [
            ("2026-01-29", "clock-gap"), ("2026-02-03", "mask-dump"), ("2026-02-08", "compressor-oil"),
        ]  # fmt: skip
        assert all(one.note for one in bad)
        results = {str(check.signed_at.date()): check.result for check in self.lived() if check.result != "passed"}
        assert results == {"2026-02-03": "limits"}
        tags = Defect.objects.filter(found_at__gte=SET_UP).order_by("number")
        assert [(tag.number, tag.recorded_at - tag.found_at < timedelta(minutes=1)) for tag in tags] == [
            (7, True), (8, True), (9, True), (10, True),
        ]  # fmt: skip

    def test_one_slip_was_corrected_with_its_reason_and_one_act_came_late(self) -> None:
        slip = Answer.objects.get(retired_at__isnull=False)
        assert (slip.value, slip.superseded_by.value) == ("19", "91")
        assert "typed the wrong way round" in slip.retired_reason
        late = Event.objects.filter(late=True, recorded_at__date__gt=SET_UP.date()).values_list("action", "actor")
        assert list(late) == [("work recorded", "Per Nygard")]
        work = WorkRecord.objects.get(recorded_at__date=date(2026, 2, 4))
        assert (work.equipment.tag, work.done_on) == ("OA-3", date(2026, 2, 3))

    def test_all_was_recorded_by_people_with_an_account_when_it_happened(self) -> None:
        lived = Event.objects.filter(recorded_at__date__gt=SET_UP.date())
        names = {user.get_full_name() for user in User.objects.all()}
        assert set(lived.values_list("actor", flat=True)) <= names
        read = BankReading.objects.filter(read_at__gte=SET_UP)
        assert read.count() == 4 * (EVENINGS + 6)
        for model, field in ((BankReading, "read_at"), (LogEntry, "occurred_at")):
            rows: Any = model.objects.filter(recorded_at__date__gt=SET_UP.date())
            apart = [at - happened for at, happened in rows.values_list("recorded_at", field)]
            assert max(apart) < timedelta(minutes=1), model

    def test_the_run_was_logged_while_it_was_on_and_signed_in_the_same_night(self) -> None:
        rows = LogEntry.objects.filter(run__number=54)
        assert (rows.count(), rows.filter(from_paper=True).count()) == (29, 0)
        signature = RunSignature.objects.get()
        assert signature.signed_at == datetime(2026, 1, 28, 1, 41, tzinfo=OSLO)

    def test_the_head_of_the_log_was_signed_each_night_and_holds(self) -> None:
        heads = Checkpoint.objects.order_by("made_at")
        nights = [SET_UP.date() + timedelta(days=n) for n in range(1, EVENINGS)]
        assert [head.made_at.date() for head in heads] == nights
        sizes = [head.size for head in heads]
        assert sizes == sorted(set(sizes))
        assert looking.contradictions() == []
        waiting = Job.objects.get(finished_at=None)
        assert waiting.made_at.date() == date(2026, 2, 11)


@pytest.mark.django_db
def test_the_clock_cannot_be_set_where_anything_was_ever_recorded() -> None:
    make.site()
    true = events.now
    with pytest.raises(DemoError, match="has entries already"), played_from(SET_UP):
        pytest.fail("the clock was set on real records")
    assert events.now is true


@pytest.mark.django_db
def test_the_clock_goes_on_never_back_and_is_the_true_one_afterwards() -> None:
    true, steady = events.now, events.steady_seconds
    with played_from(SET_UP) as clock:
        clock.go_to(SET_UP + timedelta(hours=2))
        clock.go_to(SET_UP + timedelta(hours=1))
        assert timedelta(hours=2) <= events.now() - SET_UP < timedelta(hours=2, minutes=1)
        with pytest.raises(DemoError, match="still ahead"):
            clock.go_to(true() + timedelta(minutes=1))
    assert (events.now, events.steady_seconds) == (true, steady)


@pytest.mark.django_db
def test_an_event_after_the_demos_days_is_not_marked_for_a_jump_of_the_clock() -> None:
    by = events.system("test")
    with transaction.atomic():
        events.record(None, events.What("before"), by=by)
        transaction.set_rollback(True)
    with transaction.atomic(), played_from(SET_UP) as clock:
        for hours in (1, 30):
            clock.go_to(SET_UP + timedelta(hours=hours))
            events.record(None, events.What("lived"), by=by)
    with transaction.atomic():
        events.record(None, events.What("after"), by=by)
    assert list(Event.objects.order_by("seq").values_list("action", "clock_suspect")) == [
        ("lived", False), ("lived", False), ("after", False),
    ]  # fmt: skip


@pytest.mark.django_db
def test_the_demo_cannot_be_loaded_as_of_a_day_that_is_ahead(tmp_path: Path) -> None:
    with override_settings(DATA_DIR=tmp_path), pytest.raises(DemoError, match="still ahead"):
        load(events.now().date() + timedelta(days=22))
    assert not Event.objects.exists()
