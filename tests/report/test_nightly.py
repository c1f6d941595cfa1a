"""The nightly job presses each closed month once."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest

from facility import events
from facility.jobs import tasks
from facility.jobs.queue import Kind, enqueue
from facility.models import Job, Volume
from facility.report import nightly
from tests import make

pytestmark = pytest.mark.django_db


def test_closed_months_are_made_once_and_the_running_one_is_left(
    settings: Any, tmp_path: Any, monkeypatch: Any
) -> None:
    settings.DATA_DIR = tmp_path
    site = make.site()
    rule = make.rule(make.equipment(site))
    for month in (1, 2):
        make.work(rule, datetime(2026, month, 9, tzinfo=UTC).date())
    monkeypatch.setattr(events, "now", lambda: datetime(2026, 3, 12, tzinfo=UTC))
    assert nightly.render(lambda _words: None) == "2 volumes of months made, 0 there already."
    assert sorted(Volume.objects.values_list("month", flat=True)) == ["2026-01", "2026-02"]
    assert nightly.render(lambda _words: None) == "0 volumes of months made, 2 there already."


def test_whoever_waits_for_a_pack_goes_before_the_months_that_are_left(
    settings: Any, tmp_path: Any, monkeypatch: Any
) -> None:
    settings.DATA_DIR = tmp_path
    site = make.site()
    rule = make.rule(make.equipment(site))
    for month in (1, 2):
        make.work(rule, datetime(2026, month, 9, tzinfo=UTC).date())
    monkeypatch.setattr(events, "now", lambda: datetime(2026, 3, 12, tzinfo=UTC))
    pack = enqueue(Kind.CHECK_PACK, {"token": "none"})
    told = tasks.render_volumes.apply().get()
    assert told == "1 volume of a month made, 0 there already; the rest after what somebody waits for."
    assert Volume.objects.get().month == "2026-02", "the newest first"
    assert Job.objects.filter(kind=Kind.RENDER_VOLUMES, finished_at=None).count() == 1
    Job.objects.filter(pk=pack.pk).update(finished_at=events.now())
    assert tasks.render_volumes.apply().get() == "1 volume of a month made, 1 there already."
