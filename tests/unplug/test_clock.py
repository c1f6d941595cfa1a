"""The clock is set back a day: all is stored and marked, nothing is done twice, and everybody is told."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from typing import TYPE_CHECKING

import pytest
from django.db import transaction

from facility import events
from facility.jobs import runner
from facility.jobs.queue import Daily, Kind, enqueue_daily
from facility.models import Event, Flag, Heartbeat, Job
from facility.sweep import looking
from tests.unplug.box import nothing_wrong

if TYPE_CHECKING:
    from tests.unplug.box import Box

#: later than anything that the set-up of a test records, however long the tests before it took
TODAY = datetime.now(UTC).replace(microsecond=0) + timedelta(hours=6)
BACK = TODAY - timedelta(days=1)
PLAN = [Daily(Kind.TIDY, at=time(0, 0)), Daily(Kind.BACKUP, at=time(0, 0))]


@pytest.fixture
def back(box: Box, monkeypatch: pytest.MonkeyPatch) -> Box:
    """A box that has worked today and whose clock then shows yesterday."""
    monkeypatch.setattr(events, "now", lambda: TODAY)
    looking.sweep(TODAY)
    enqueue_daily(PLAN, now=BACK)
    enqueue_daily(PLAN, now=TODAY)
    Heartbeat.objects.create(name="jobs@box", beat_at=TODAY, started_at=TODAY)
    monkeypatch.setattr(events, "now", lambda: BACK)
    return box


def test_pages_and_the_monitor_say_that_the_clock_is_not_trusted(back: Box) -> None:
    status, page = back.now_page()
    assert status == 200
    assert "The clock is not trusted: the newest record is of" in page
    status, parts = back.ready()
    assert status == 503
    assert parts["clock"]["ok"] is False
    assert parts["clock"]["behind_records_s"] == pytest.approx(86_400, abs=60)


def test_what_is_recorded_meanwhile_makes_no_clock_right(back: Box) -> None:
    """The first record after it was set back must not end the warning: the clock is as wrong as before."""
    for pressure in ("1999", "1998"):
        assert back.enter_reading(pressure)[0] == 302
    assert "The clock is not trusted: the newest record is of" in back.now_page()[1]
    assert back.ready()[1]["clock"]["ok"] is False
    with pytest.raises(looking.ClockError):
        looking.sweep(BACK)


def test_a_clock_that_was_ahead_and_is_right_again_is_trusted_after_a_while(back: Box) -> None:
    """Nobody can tell from the records which of two times was right, so what was ahead is not held on to for good."""
    for number in range(events.CLOCK_REMEMBERED):
        with transaction.atomic():
            events.record(None, events.What("test", after={"number": str(number)}), by=events.system("test"))
    assert back.ready()[1]["clock"]["ok"] is True
    assert looking.sweep(BACK).startswith("flags ")


def test_a_reading_is_stored_in_its_place_and_marked(back: Box) -> None:
    before = back.kept()
    assert back.enter_reading()[0] == 302
    assert back.kept() == (before[0] + 1, before[1] + 1)
    newest = Event.objects.latest("seq")
    assert (newest.recorded_at, newest.clock_suspect) == (BACK, True)
    assert nothing_wrong()


def test_the_jobs_and_flags_of_a_day_that_comes_again_are_not_made_twice(back: Box) -> None:
    jobs = Job.objects.count()
    assert enqueue_daily(PLAN, now=BACK) == 0
    assert Job.objects.count() == jobs
    flags, count = Flag.objects.count(), Event.objects.count()
    with pytest.raises(looking.ClockError, match="nothing was flagged. Set the clock"):
        looking.sweep(BACK)
    assert (Flag.objects.count(), Event.objects.count()) == (flags, count)
    assert nothing_wrong()


def test_a_lease_from_before_does_not_hold_a_job_for_a_day(back: Box) -> None:
    """Its runner was killed with the clock a day ahead; the lease would end tomorrow."""
    Job.objects.all().delete()
    Job.objects.create(
        kind="tidy", made_at=BACK, due_at=BACK - timedelta(hours=1), tries=1, lease_owner="jobs@box:1",
        lease_until=TODAY + runner.LEASE,
    )  # fmt: skip
    taken = runner.claim("jobs@box:2", now=BACK)
    assert taken is not None
    assert taken.tries == 2
    assert runner.claim("jobs@box:3", now=BACK) is None


def test_when_the_clock_is_right_again_nothing_more_is_said(back: Box, monkeypatch: pytest.MonkeyPatch) -> None:
    back.enter_reading()
    monkeypatch.setattr(events, "now", lambda: TODAY + timedelta(minutes=1))
    assert "The clock is not trusted" not in back.now_page()[1]
    assert back.ready()[1]["clock"]["ok"] is True
