"""A week without power, with the real plan of jobs: what people are told afterwards is today's, each thing once."""

from __future__ import annotations

from collections import Counter
from datetime import date
from typing import TYPE_CHECKING

import pytest

from facility import services
from facility.jobs.loop import Loop
from facility.jobs.queue import Kind
from facility.models import Job, Notice
from facility.project.schedule import DAILY
from tests import make
from tests.facility.readiness_db import build
from tests.notices import scene

if TYPE_CHECKING:
    from tests.notices.conftest import Clock

pytestmark = [pytest.mark.django_db, pytest.mark.both]

MAKING = (Kind.SWEEP, Kind.WATCH_READINESS, Kind.DIGESTS, Kind.ESCALATE, Kind.WATCH_BOX)
PLAN = [job for job in DAILY if job.kind in MAKING]


def work(clock: Clock, hours: int) -> None:
    """Let a runner work, looking once an hour; what would send is left lying."""
    loop = Loop(PLAN, clock=lambda: clock.now)
    for _hour in range(hours):
        while loop.turn():
            pass
        Job.objects.filter(kind=Kind.SEND_NOTICES).delete()
        clock.pass_by(hours=1)


def test_after_a_week_without_power_each_thing_is_told_once_and_nothing_of_the_days_gone_by(clock: Clock) -> None:
    chamber, gauge = scene.gauge_chamber()
    site = chamber.site
    make.work(make.rule(make.equipment(site, tag="DG-9"), months=12), date(2025, 12, 1))
    people = {make.supervisor(site).pk, make.user(site, "director").pk, make.user(site, "tender").pk}
    work(clock, 4)
    build.defect(gauge, clock.now)
    work(clock, 2)
    before = set(Notice.objects.values_list("pk", flat=True))
    for _day in range(3):
        fault = build.defect(gauge, clock.pass_by(days=1))
        services.retire(fault, by=scene.BY, reason="mended", at=clock.pass_by(days=1))
    services.retire(gauge.defects.get(retired_at=None), by=scene.BY, reason="mended")
    work(clock, 4)
    later = Notice.objects.exclude(pk__in=before).exclude(kind="box")
    told = Counter(later.values_list("user_id", "kind"))
    assert {user for user, kind in told if kind == "digest"} == people
    assert {kind for _user, kind in told} <= {"digest", "readiness"}
    assert {told[user, "readiness"] for user in people} == {1, 0}
    assert {told[user, "digest"] for user in people} == {1}
    assert {one.once_key.split(":")[2] for one in later.filter(kind="digest")} == {"2026-12-03"}
    assert "DG-9: calibration: overdue, good through 1 Dec 2026" in later.filter(kind="digest")[0].body
    assert not Job.objects.filter(dead_at__isnull=False).exists()
    boxes = Notice.objects.filter(kind="box").values_list("once_key", flat=True)
    assert len(boxes) == len(set(boxes))


def test_a_clock_set_back_a_day_makes_no_notice_of_readiness_and_the_director_is_told_of_the_clock(
    clock: Clock,
) -> None:
    chamber, gauge = scene.gauge_chamber()
    boss = make.user(chamber.site, "director")
    work(clock, 1)
    build.defect(gauge, clock.now)
    before = set(Notice.objects.values_list("pk", flat=True))
    clock.pass_by(days=-1)
    work(clock, 2)
    found = Notice.objects.exclude(pk__in=before)
    assert {one.kind for one in found} == {"box"}
    assert "A part of the box is not well: clock." in {one.subject for one in found if one.user == boss}
    clock.pass_by(days=1)
    work(clock, 1)
    assert {one.user_id for one in scene.told("readiness")} == {boss.pk, None}
