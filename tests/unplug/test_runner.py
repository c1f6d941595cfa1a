"""The job runner is dead for a week, or the machine is off: pages stay right and say so, and its return brings no storm."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from typing import TYPE_CHECKING, TypeAlias

import pytest
from django.urls import reverse
from django.utils.timezone import localdate

from facility import events
from facility.jobs import runner
from facility.jobs.loop import Loop
from facility.models import Event, Flag, Heartbeat, Job
from facility.project.schedule import DAILY
from facility.sweep import looking
from maintenance.models import IntervalRule
from tests import make
from tests.unplug.box import nothing_wrong

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import date

    from tests.unplug.box import Box

Left: TypeAlias = "tuple[Box, Callable[[datetime], None]]"
WEEK = timedelta(days=7)
DEAD = "The job runner has not been seen since"


@pytest.fixture
def due_on() -> date:
    """The day a month after today, the last good day of what is done today and every month."""
    today = localdate()
    year, month = (today.year + 1, 1) if today.month == 12 else (today.year, today.month + 1)
    return today.replace(year=year, month=month, day=min(today.day, 28))


@pytest.fixture
def left(box: Box, due_on: date, monkeypatch: pytest.MonkeyPatch) -> Left:
    """A box whose runner was last seen three days before an act falls due; and what sets its clock."""
    done_on = due_on.replace(year=localdate().year, month=localdate().month)
    make.work(make.rule(make.equipment(box.site(), tag="DG-LEFT"), months=1), done_on)
    last = datetime.combine(due_on - timedelta(days=3), time(12), tzinfo=UTC)
    Heartbeat.objects.create(name="jobs@box", beat_at=last, started_at=last)

    def set_clock(at: datetime) -> None:
        monkeypatch.setattr(events, "now", lambda: at)

    set_clock(last)
    return box, set_clock


def seen() -> datetime:
    return Heartbeat.objects.get().beat_at


def word_of_left(box: Box) -> str:
    """Return how the list of what is due calls the act."""
    status, page = box.page(reverse("maintenance:due", args=[box.site().key]))
    assert status == 200
    after = page[page.index("<b>DG-LEFT</b>") :]
    return after[after.index('<span class="sub">') + len('<span class="sub">') :].split()[0]


def test_with_the_runner_dead_for_a_week_pages_are_right_and_say_that_it_is_dead(left: Left) -> None:
    """The act falls overdue on the fourth day; no job has looked at it."""
    box, set_clock = left
    assert word_of_left(box) == "Due"
    assert DEAD not in box.now_page()[1]
    assert box.ready()[1]["scheduler"]["ok"] is True
    set_clock(seen() + WEEK)
    assert word_of_left(box) == "Overdue"
    assert not Flag.objects.exists(), "the word comes from the records, not from a flag"
    for address in ("readiness:now", "maintenance:due", "places:events", "places:setup"):
        status, page = box.page(reverse(address, args=[box.site().key]))
        assert (status, DEAD in page) == (200, True), address
    status, parts = box.ready()
    assert (status, parts["scheduler"]["ok"], parts["scheduler"]["age_s"]) == (503, False, 7 * 86_400)
    assert "start it again" in parts["scheduler"]["advice"]
    assert "has not been seen for 7 d" in box.page("/box/jobs/")[1]


def test_meanwhile_people_go_on_recording_and_it_counts_at_once(left: Left) -> None:
    box, set_clock = left
    set_clock(seen() + WEEK)
    before = box.kept()
    assert box.enter_reading()[0] == 302
    rule = IntervalRule.objects.get(equipment__tag="DG-LEFT")
    make.work(rule, events.now().date())
    assert box.kept()[0] == before[0] + 1
    assert word_of_left(box) != "Overdue"
    assert nothing_wrong()


def test_its_return_is_told_once_and_brings_one_job_of_each_kind_and_one_flag_of_each_thing(left: Left) -> None:
    box, set_clock = left
    back = seen() + WEEK
    set_clock(back)
    loop = Loop(DAILY, clock=events.now)
    for _ in range(3):
        loop.keep()
        loop.plan_today(events.now())
    (off,) = Event.objects.filter(action="box:was-off")
    assert f"from {back - WEEK:%Y-%m-%d %H:%M} to {back:%Y-%m-%d %H:%M} UTC" in off.reason
    assert DEAD not in box.now_page()[1]
    kinds = list(Job.objects.values_list("kind", flat=True))
    assert len(kinds) == len(set(kinds)), "those of the six days between are not made up for"
    first = looking.sweep(back)
    flags = Flag.objects.filter(thing__startswith="rule:", site=box.site())
    assert len(flags) == len({flag.thing for flag in flags})
    again = looking.sweep(back)
    assert again.splitlines()[-1].startswith("flags 0 new, ")
    assert not first.splitlines()[-1].startswith("flags 0 new, ")
    assert nothing_wrong()


def test_a_runner_that_died_before_the_clock_was_set_back_is_not_taken_for_alive(left: Left) -> None:
    """Its last beat lies a day ahead, so it would look fresh for a day."""
    box, set_clock = left
    set_clock(seen() - timedelta(days=1))
    assert "The job runner has not been seen since the clock was set back" in box.now_page()[1]
    status, parts = box.ready()
    assert (status, parts["scheduler"]["ok"]) == (503, False)
    assert "which is still to come: set the clock" in box.page("/box/jobs/")[1]
    Loop([], clock=events.now).keep()
    assert "The job runner has not been seen" not in box.now_page()[1]
    assert box.ready()[1]["scheduler"]["ok"] is True
    assert not Event.objects.filter(action="box:was-off").exists()


def test_a_job_that_was_under_way_when_the_power_went_is_done_by_the_next_runner(left: Left) -> None:
    _box, set_clock = left
    cut = seen()
    Job.objects.create(kind="tidy", made_at=cut, due_at=cut)
    assert runner.claim("jobs@box:1", now=cut) is not None
    set_clock(cut + WEEK)
    loop = Loop([], clock=events.now)
    loop.keep()
    assert loop.turn()
    job = Job.objects.get(kind="tidy")
    assert (job.tries, job.finished_at) == (2, cut + WEEK)
