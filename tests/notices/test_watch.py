"""At once people are told only that readiness changed, or will within the lead time; each once."""

from __future__ import annotations

import json
from datetime import date, timedelta
from typing import TYPE_CHECKING

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from facility import services
from facility.models import Event, Notice, Told
from facility.notices import watch
from tests import make
from tests.facility.readiness_db import build
from tests.notices import scene

if TYPE_CHECKING:
    from tests.notices.conftest import Clock

pytestmark = [pytest.mark.django_db, pytest.mark.both]


def test_the_first_look_notes_and_tells_nobody(clock: Clock) -> None:
    chamber, _gauge = scene.gauge_chamber()
    make.supervisor(chamber.site)
    watch.look(clock.now)
    assert not Notice.objects.exists()
    assert Told.objects.get(chamber=chamber).states == {"tt6": "Ready"}


def test_a_change_is_told_once_to_everybody_who_is_to_know_and_to_the_site(clock: Clock) -> None:
    """Supervisors, directors and who is on duty; a tender who is off duty reads it in the digest."""
    chamber, gauge = scene.gauge_chamber()
    site = chamber.site
    answering = {make.supervisor(site).pk, make.user(site, "director").pk}
    tender, _off_duty = make.user(site, "tender"), make.user(site, "tender")
    build.duty(make.person(site, user=tender), clock.now - timedelta(hours=1), clock.now + timedelta(days=2))
    watch.look(clock.now)
    build.defect(gauge, clock.now)
    clock.pass_by(minutes=5)
    watch.look(clock.now)
    found = scene.told("readiness")
    assert {one.user_id for one in found} == {*answering, tender.pk, None}
    assert {one.subject for one in found} == {"Chamber 1, TT6: Not ready"}
    assert found[0].link == "/skerrow/why/chamber-1/tt6/"
    assert found[0].next_action == "See on the page what would lift it: Depth."
    assert found[0].answer_by == clock.now + timedelta(minutes=15)
    before = Event.objects.count()
    watch.look(clock.pass_by(minutes=5))
    assert len(scene.told("readiness")) == len(found)
    assert Event.objects.count() == before


def test_a_job_that_is_run_twice_at_the_same_instant_makes_nothing_new(clock: Clock) -> None:
    chamber, gauge = scene.gauge_chamber()
    make.supervisor(chamber.site)
    watch.look(clock.now)
    build.defect(gauge, clock.now)
    watch.look(clock.now)
    made = Notice.objects.count()
    watch.look(clock.now)
    assert Notice.objects.count() == made == 2


def test_good_news_is_told_too_and_asks_nobody_to_acknowledge(clock: Clock) -> None:
    chamber, gauge = scene.gauge_chamber()
    make.supervisor(chamber.site)
    fault = build.defect(gauge, clock.now)
    watch.look(clock.now)
    services.retire(fault, by=scene.BY, reason="entered by mistake")
    watch.look(clock.pass_by(minutes=5))
    found = scene.told("readiness")
    assert {one.subject for one in found} == {"Chamber 1, TT6: Ready"}
    assert {one.answer_by for one in found} == {None}


def test_a_week_without_power_tells_the_net_change_once(clock: Clock) -> None:
    """Out, back and out again while the box was off: one notice, not three."""
    chamber, gauge = scene.gauge_chamber()
    make.supervisor(chamber.site)
    watch.look(clock.now)
    for _day in range(3):
        fault = build.defect(gauge, clock.pass_by(days=1))
        services.retire(fault, by=scene.BY, reason="mended", at=clock.pass_by(days=1))
    build.defect(gauge, clock.pass_by(days=1))
    watch.look(clock.pass_by(hours=1))
    assert len({one.body for one in scene.told("readiness")}) == 1
    assert len(scene.told("readiness")) == 2


def test_what_went_and_came_back_while_the_box_was_off_is_not_told(clock: Clock) -> None:
    chamber, gauge = scene.gauge_chamber()
    make.supervisor(chamber.site)
    watch.look(clock.now)
    fault = build.defect(gauge, clock.pass_by(days=1))
    services.retire(fault, by=scene.BY, reason="mended")
    watch.look(clock.pass_by(days=1))
    assert not Notice.objects.exists()


def test_a_clock_that_was_set_back_tells_nobody_and_says_so(clock: Clock) -> None:
    chamber, gauge = scene.gauge_chamber()
    make.supervisor(chamber.site)
    watch.look(clock.now)
    build.defect(gauge, clock.now - timedelta(days=3))
    assert "Set the clock" in watch.look(clock.now - timedelta(days=1))
    assert not Notice.objects.exists()


def test_what_will_stop_a_plan_within_the_lead_time_is_told_once(clock: Clock) -> None:
    """The gauge is good through 1 November 2027; fourteen days of lead time are the house's default."""
    chamber, _gauge = scene.gauge_chamber()
    make.supervisor(chamber.site)
    watch.look(clock.now)
    clock.now = clock.now.replace(year=2027, month=10, day=15)
    watch.look(clock.now)
    assert not scene.told("ahead")
    for _hour in range(3):
        watch.look(clock.pass_by(days=3))
    found = scene.told("ahead")
    assert len(found) == 2
    assert found[0].subject == "Chamber 1, TT6 will not be ready"
    assert "not ready from 1 Nov 2027 23:00, stopped by Depth" in found[0].body
    assert found[0].things == [f"plan:{chamber.pk}:tt6:depth"]


def test_a_run_on_in_the_chamber_is_no_news(clock: Clock) -> None:
    chamber, _gauge = scene.gauge_chamber()
    make.supervisor(chamber.site)
    watch.look(clock.now)
    build.run(chamber.plans.get(), clock.now, clock.now + timedelta(hours=1))
    watch.look(clock.pass_by(minutes=5))
    assert not Notice.objects.exists()


def test_a_thing_that_somebody_answers_for_is_left_out_and_the_rest_is_told(clock: Clock) -> None:
    chamber, gauge = scene.gauge_chamber()
    make.supervisor(chamber.site)
    build.plan(chamber, "tt5", chamber.needs.get())
    watch.look(clock.now)
    scene.snooze(chamber.site, f"plan:{chamber.pk}:tt6", clock.now + timedelta(days=1))
    build.defect(gauge, clock.now)
    watch.look(clock.pass_by(minutes=5))
    assert {one.subject for one in scene.told("readiness")} == {"Chamber 1, TT5: Not ready"}


def test_who_muted_a_kind_is_not_told_and_others_are(clock: Clock) -> None:
    chamber, gauge = scene.gauge_chamber()
    loud, quiet = make.supervisor(chamber.site), make.supervisor(chamber.site)
    scene.mute(chamber.site, quiet, "readiness")
    watch.look(clock.now)
    build.defect(gauge, clock.now)
    watch.look(clock.pass_by(minutes=5))
    assert {one.user_id for one in scene.told("readiness")} == {loud.pk, None}


def test_an_account_that_was_shut_is_told_nothing(clock: Clock) -> None:
    chamber, gauge = scene.gauge_chamber()
    gone = make.supervisor(chamber.site)
    gone.is_active = False
    gone.save()
    watch.look(clock.now)
    build.defect(gauge, clock.now)
    watch.look(clock.pass_by(minutes=5))
    assert {one.user_id for one in scene.told("readiness")} == {None}


def test_hostile_names_stay_on_one_line_of_the_subject_and_texts_of_defects_stay_in_the_box(clock: Clock) -> None:
    chamber, gauge = scene.gauge_chamber()
    make.supervisor(chamber.site)
    chamber.name = "Chamber\r\nBcc: all@example.org"
    services.change(chamber, by=scene.BY, reason="test", shown_version=1)
    watch.look(clock.now)
    build.defect(gauge, clock.now, what="Mr Patient fell on it")
    watch.look(clock.pass_by(minutes=5))
    notice = scene.told("readiness")[0]
    assert notice.subject == "Chamber Bcc: all@example.org, TT6: Not ready"
    told = json.loads(Event.objects.get(action="told:readiness").payload)
    assert "Patient" not in notice.body + notice.next_action + json.dumps(told)


def test_the_queries_of_a_look_do_not_grow_with_sites_that_have_no_news(clock: Clock) -> None:
    counts = []
    for keys in (["a"], ["b", "c", "d", "e"]):
        for key in keys:
            scene.gauge_chamber(date(2026, 11, 1), key=key)
        watch.look(clock.now)
        with CaptureQueriesContext(connection) as caught:
            watch.look(clock.now)
        counts.append(len(caught))
    assert counts[0] == counts[1]


def test_a_look_that_falls_in_the_middle_tells_nothing_and_the_next_tells_all(
    clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A power cut between what is noted and what is told: both are one transaction."""
    chamber, gauge = scene.gauge_chamber()
    make.supervisor(chamber.site)
    watch.look(clock.now)
    build.defect(gauge, clock.now)
    events_before = Event.objects.count()

    def cut(*_args: object, **_named: object) -> int:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(watch, "store", cut)
        with pytest.raises(KeyboardInterrupt):
            watch.look(clock.now)
    assert Told.objects.get().states == {"tt6": "Ready"}
    assert Event.objects.count() == events_before
    watch.look(clock.pass_by(minutes=5))
    assert len(scene.told("readiness")) == 2


def test_two_looks_at_the_same_moment_tell_it_once(clock: Clock) -> None:
    """Both compared with the same row; the second to store finds that the first has told it."""
    chamber, gauge = scene.gauge_chamber()
    make.supervisor(chamber.site)
    watch.look(clock.now)
    build.defect(gauge, clock.now)
    both = [watch._news_of([chamber.site], clock.now) for _look in range(2)]
    assert [watch._tell(site, found, clock.now) for news in both for site, found in news.items()] == [2, 0]
    assert len(scene.told("readiness")) == 2
