"""What nobody acknowledges is told to the next circle, once; a call-out is told at once to who was asked."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import pytest
from django.core.exceptions import ValidationError
from django.db import transaction

from facility import services
from facility.jobs import runner
from facility.models import Event, Job, Notice
from facility.notices import acting, calling, escalate, watch
from tests import make
from tests.facility.readiness_db import build
from tests.notices import scene
from treatments.calling import calls

if TYPE_CHECKING:
    from facility.models import Chamber
    from maintenance.models import Defect
    from tests.notices.conftest import Clock

pytestmark = [pytest.mark.django_db, pytest.mark.both]


def gone_wrong(clock: Clock) -> tuple[Chamber, Defect]:
    """Return a chamber whose plan has just become not ready, told to its supervisor."""
    chamber, gauge = scene.gauge_chamber()
    make.supervisor(chamber.site)
    watch.look(clock.now)
    fault = build.defect(gauge, clock.now)
    watch.look(clock.pass_by(minutes=5))
    return chamber, fault


def test_what_nobody_acknowledges_within_the_house_s_time_is_told_to_the_directors_once(clock: Clock) -> None:
    chamber, _fault = gone_wrong(clock)
    director = make.user(chamber.site, "director")
    clock.pass_by(minutes=14)
    assert escalate.run(clock.now) == "0 notices raised."
    clock.pass_by(minutes=1)
    assert escalate.run(clock.now) == "1 notice raised."
    found = scene.told("unanswered")
    assert {one.user_id for one in found} == {director.pk, None}
    assert found[0].subject == "Nobody has acknowledged: Chamber 1, TT6: Not ready"
    assert "to 1 person; nobody has acknowledged it" in found[0].body
    assert found[0].raised_from in scene.told("readiness")
    assert escalate.run(clock.now) == escalate.run(clock.pass_by(hours=1)) == "0 notices raised."
    assert len(scene.told("unanswered")) == 2
    assert Event.objects.filter(action="told:unanswered").count() == 1


def test_it_says_to_how_many_it_was_told_and_not_how_often(clock: Clock) -> None:
    chamber, gauge = scene.gauge_chamber()
    for _one in range(2):
        make.supervisor(chamber.site)
    watch.look(clock.now)
    build.defect(gauge, clock.now)
    watch.look(clock.pass_by(minutes=5))
    escalate.run(clock.pass_by(minutes=16))
    assert "to 2 people; nobody" in scene.told("unanswered")[0].body


def test_one_who_acknowledges_quiets_the_others(clock: Clock) -> None:
    chamber, _fault = gone_wrong(clock)
    copy = scene.told("readiness")[0]
    assert acting.acknowledge(copy, by=scene.BY)
    assert not acting.acknowledge(copy, by=scene.BY)
    assert escalate.run(clock.pass_by(hours=1)) == "0 notices raised."
    assert Notice.objects.filter(acknowledged_at__isnull=False).count() == 1
    assert Event.objects.filter(action="notice acknowledged", site_id_text=chamber.site.key).count() == 1


def test_what_is_mended_meanwhile_is_not_raised(clock: Clock) -> None:
    _chamber, fault = gone_wrong(clock)
    services.retire(fault, by=scene.BY, reason="entered by mistake")
    watch.look(clock.pass_by(minutes=5))
    assert escalate.run(clock.pass_by(minutes=30)) == "0 notices raised."


def test_after_days_without_power_old_notices_are_not_raised(clock: Clock) -> None:
    gone_wrong(clock)
    assert escalate.run(clock.pass_by(days=3)) == "0 notices raised."
    assert not Notice.objects.filter(answer_by__isnull=False).exists()


def test_a_clock_set_back_raises_nothing_and_says_so(clock: Clock) -> None:
    gone_wrong(clock)
    assert "Set the clock" in escalate.run(clock.now - timedelta(days=1))


def test_with_a_clock_set_back_a_call_that_nobody_answers_is_raised_all_the_same(clock: Clock) -> None:
    """Somebody's help may hang on it: begun and raised by the same wrong clock, its minutes are right."""
    chamber, _gauge = scene.gauge_chamber()
    boss = make.user(chamber.site, "director")
    clock.pass_by(days=-1)
    call = calls.begin(chamber, [make.person(chamber.site, user=make.user(chamber.site, "tender"))], by=scene.BY)
    calling.tell(call.pk, clock.now)
    said = escalate.run(clock.pass_by(minutes=15))
    assert said.endswith("Set the clock. 1 notice raised.")
    assert boss.pk in {one.user_id for one in scene.told("unanswered")}


def test_a_house_that_asks_for_no_acknowledging_has_none_raised(clock: Clock) -> None:
    chamber, gauge = scene.gauge_chamber()
    scene.rule(chamber.site, "answer_within_min", 0)
    make.supervisor(chamber.site)
    watch.look(clock.now)
    build.defect(gauge, clock.now)
    watch.look(clock.pass_by(minutes=5))
    assert scene.told("readiness")
    assert escalate.run(clock.pass_by(hours=2)) == "0 notices raised."


def test_a_call_out_is_told_at_once_to_who_was_asked_and_one_asked_later_too(clock: Clock) -> None:
    chamber, _gauge = scene.gauge_chamber()
    first, second = make.user(chamber.site, "tender"), make.user(chamber.site, "operator")
    crew = [make.person(chamber.site, user=first), make.person(chamber.site)]
    call = calls.begin(chamber, crew, by=scene.BY)
    run_jobs(clock)
    found = scene.told("call-out")
    assert {one.user_id for one in found} == {first.pk, None}
    assert found[0].subject == "Call-out at Chamber 1"
    assert found[0].link == f"/skerrow/call/{call.pk}/"
    calls.ask(call, make.person(chamber.site, user=second), by=scene.BY)
    run_jobs(clock)
    assert {one.user_id for one in scene.told("call-out")} == {first.pk, second.pk, None}
    calling.tell(call.pk, clock.now)
    assert len(scene.told("call-out")) == 3


def run_jobs(clock: Clock) -> None:
    Job.objects.exclude(kind="tell_call_out").delete()
    while (job := runner.claim("test", now=clock.now)) is not None:
        assert runner.run(job, clock=lambda: clock.now), Job.objects.get(pk=job.pk).error
        Job.objects.filter(kind="send_notices").delete()


def test_a_call_that_was_taken_back_with_its_transaction_tells_nobody(clock: Clock) -> None:
    chamber, _gauge = scene.gauge_chamber()
    with transaction.atomic():
        calls.begin(chamber, [], by=scene.BY)
        assert Job.objects.filter(kind="tell_call_out", made_at=clock.now).exists()
        transaction.set_rollback(True)
    assert not Job.objects.filter(kind="tell_call_out").exists()


def test_a_call_that_nobody_answers_is_raised_and_one_that_is_answered_is_not(clock: Clock) -> None:
    chamber, _gauge = scene.gauge_chamber()
    make.user(chamber.site, "director")
    person = make.person(chamber.site, user=make.user(chamber.site, "tender"))
    call = calls.begin(chamber, [person], by=scene.BY)
    calling.tell(call.pk, clock.now)
    assert escalate.run(clock.pass_by(minutes=15)) == "1 notice raised."
    calls.over(call, "no patient", by=scene.BY, shown_version=1)
    again = calls.begin(chamber, [person], by=scene.BY)
    calling.tell(again.pk, clock.now)
    calls.answer(again.people.get(), "coming", by=scene.BY)
    assert escalate.run(clock.pass_by(minutes=15)) == "0 notices raised."


def test_a_call_that_is_over_is_told_to_nobody(clock: Clock) -> None:
    chamber, _gauge = scene.gauge_chamber()
    call = calls.begin(chamber, [], by=scene.BY)
    calls.over(call, "a mistake", by=scene.BY, shown_version=1)
    assert calling.tell(call.pk, clock.now) == "The call is over."
    assert not Notice.objects.exists()


def test_a_call_out_cannot_be_muted(clock: Clock) -> None:
    """Somebody's help may hang on it: a mute that got into the table all the same keeps nobody from being told."""
    chamber, _gauge = scene.gauge_chamber()
    user = make.user(chamber.site, "tender")
    with pytest.raises(ValidationError, match="cannot be muted"):
        acting.mute(chamber.site, user, "call-out", "tired", by=scene.BY)
    scene.mute(chamber.site, user, "call-out")
    call = calls.begin(chamber, [make.person(chamber.site, user=user)], by=scene.BY)
    calling.tell(call.pk, clock.now)
    assert user.pk in {one.user_id for one in scene.told("call-out")}


def test_without_a_director_the_first_account_hears_what_nobody_acknowledged(clock: Clock) -> None:
    gone_wrong(clock)
    first = make.user(is_superuser=True)
    escalate.run(clock.pass_by(minutes=15))
    assert {one.user_id for one in scene.told("unanswered")} == {first.pk, None}
