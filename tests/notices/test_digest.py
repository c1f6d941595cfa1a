"""One calm digest for each person and day, at their hour: what is ready, what is due, what is open, each with what to do."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from facility import services
from facility.models import Delivery, Notice, NoticeWay
from facility.notices import digest, drafts
from facility.sweep import looking
from maintenance.models import Equipment
from tests import make
from tests.facility.readiness_db import build
from tests.notices import scene

if TYPE_CHECKING:
    from facility.models import Site, User
    from tests.notices.conftest import Clock

pytestmark = [pytest.mark.django_db, pytest.mark.both]


def body(user: User) -> str:
    return Notice.objects.get(user=user).body


def test_each_person_has_one_a_day_and_a_second_run_makes_nothing_new(clock: Clock) -> None:
    chamber, _gauge = scene.gauge_chamber()
    people = {make.supervisor(chamber.site).pk, make.user(chamber.site, "tender", "operator").pk}
    assert digest.make(clock.now) == "2 digests made."
    assert digest.make(clock.now) == "0 digests made."
    assert digest.make(clock.pass_by(minutes=10)) == "0 digests made."
    assert {one.user_id for one in scene.told("digest")} == people
    assert digest.make(clock.pass_by(days=1)) == "2 digests made."


def test_nothing_to_do_is_said_in_one_calm_line_for_silence_is_not_health(clock: Clock) -> None:
    chamber, _gauge = scene.gauge_chamber()
    who = make.user(chamber.site, "tender")
    digest.make(clock.now)
    notice = Notice.objects.get(user=who)
    assert notice.subject == "Fri 27 Nov: nothing needs you today"
    assert "silence is never taken for health" in notice.body
    assert "Chamber 1, TT6, 1 patient, 1 tender: Ready" in notice.body
    assert "From records only" in notice.body


def test_where_no_table_is_ready_that_comes_first_and_not_somebody_s_paper(clock: Clock) -> None:
    chamber, gauge = scene.gauge_chamber()
    who = make.supervisor(chamber.site)
    rule = make.rule(make.equipment(chamber.site, tag="DG-9"), months=12)
    make.work(rule, date(2025, 11, 20))
    build.defect(gauge, clock.now - timedelta(hours=1), what="reads high")
    looking.sweep(clock.now)
    digest.make(clock.now)
    notice = Notice.objects.get(user=who)
    assert "0 of 1 plan ready" in notice.subject
    assert notice.next_action == "No table is ready: see on the page what would lift it."
    assert "- DG-9: calibration: overdue" in notice.body


def test_a_week_without_power_is_one_digest_and_none_for_the_days_gone_by(clock: Clock) -> None:
    chamber, _gauge = scene.gauge_chamber()
    make.user(chamber.site, "tender")
    digest.make(clock.now)
    digest.make(clock.pass_by(days=7))
    assert len(scene.told("digest")) == 2


def test_a_clock_set_back_a_day_makes_none_and_says_so(clock: Clock) -> None:
    chamber, _gauge = scene.gauge_chamber()
    make.user(chamber.site, "tender")
    assert "Set the clock" in digest.make(clock.now - timedelta(days=1))
    assert not Notice.objects.exists()


def test_what_fell_due_is_named_with_what_to_do_and_the_page(clock: Clock) -> None:
    site = make.site(zone="UTC", key="skerrow")
    rule = make.rule(make.equipment(site, tag="DG-9"), months=12)
    make.work(rule, date(2025, 11, 20))
    services.add(
        Equipment(site=site, tag="EX-1", name="Extinguisher", kind="other", life_ends_on=date(2026, 12, 1)), by=scene.BY
    )
    looking.sweep(clock.now)
    who = make.user(site, "maintainer")
    digest.make(clock.now)
    assert "- DG-9: calibration: overdue, good through 20 Nov 2026" in body(who)
    assert f"Do it and record the work. /skerrow/rules/{rule.pk}/" in body(who)
    assert "- service life of EX-1: due soon, good through 1 Dec 2026" in body(who)
    assert Notice.objects.get(user=who).next_action == "DG-9: calibration: Do it and record the work."


def medical_flag(site: Site) -> User:
    """Return the account of somebody whose medical has lapsed."""
    sick = make.user(site, "tender")
    build.medical(make.person(site, user=sick, key="k-lindqvist", name="Karin Lindqvist"), good_until=date(2026, 11, 1))
    return sick


def test_a_medical_is_told_to_its_person_and_to_supervisors_and_directors_only(clock: Clock) -> None:
    site = make.site(zone="UTC")
    sick = medical_flag(site)
    told = [sick, make.supervisor(site), make.user(site, "director")]
    others = [make.user(site, role) for role in ("tender", "operator", "maintainer", "physician")]
    looking.sweep(clock.now)
    digest.make(clock.now)
    assert ["medical of Karin Lindqvist" in body(user) for user in told] == [True] * 3
    assert ["Lindqvist" in body(user) for user in others] == [False] * 4


def test_a_certificate_is_told_to_its_person_and_not_to_other_tenders(clock: Clock) -> None:
    site = make.site(zone="UTC")
    holder, other = make.user(site, "tender"), make.user(site, "tender")
    kind = make.qualification_kind(site.organisation, key="inside-tender", name="Inside tender")
    build.held(make.person(site, user=holder, key="bo", name="Bo Moen"), kind, date(2026, 11, 26))
    waiting = make.person(site, name="Waits For Look")
    build.held(waiting, kind, date(2027, 11, 26), second_look_by="")
    looking.sweep(clock.now)
    boss = make.supervisor(site)
    digest.make(clock.now)
    assert "Inside tender of Bo Moen: lapsed" in body(holder)
    assert "Inside tender of Bo Moen" not in body(other)
    assert "Waits For Look" in body(boss)
    assert "Waits For Look" not in body(holder)


def test_what_is_open_is_named_without_what_was_typed(clock: Clock) -> None:
    chamber, gauge = scene.gauge_chamber()
    fault = build.defect(gauge, clock.now, what="Mr Patient fell on it")
    who = make.user(chamber.site, "tender")
    digest.make(clock.now)
    assert "- DG-1: defect 0001:" in body(who)
    assert f"/skerrow/defects/{fault.pk}/" in body(who)
    assert "Patient" not in body(who).replace("1 patient", "")
    assert Notice.objects.get(user=who).subject == "Fri 27 Nov: 0 of 1 plan ready, 1 thing to do"


def test_what_somebody_answers_for_is_left_out_until_the_end_and_comes_back(clock: Clock) -> None:
    site = make.site(zone="UTC")
    rule = make.rule(make.equipment(site, tag="DG-9"), months=12)
    make.work(rule, date(2025, 11, 20))
    looking.sweep(clock.now)
    who = make.user(site, "maintainer")
    scene.snooze(site, f"rule:{rule.pk}", clock.now + timedelta(hours=30))
    digest.make(clock.now)
    digest.make(clock.pass_by(days=1))
    digest.make(clock.pass_by(days=1))
    assert ["DG-9" in one.body for one in Notice.objects.filter(user=who).order_by("pk")] == [False, False, True]


def test_who_muted_the_digest_and_who_only_inspects_has_none(clock: Clock) -> None:
    chamber, _gauge = scene.gauge_chamber()
    scene.mute(chamber.site, make.supervisor(chamber.site), "digest")
    make.user(chamber.site, "inspector")
    assert digest.make(clock.now) == "0 digests made."


def test_a_digest_goes_out_on_the_person_s_ways(clock: Clock) -> None:
    chamber, _gauge = scene.gauge_chamber()
    who = make.supervisor(chamber.site)
    row = NoticeWay(site=chamber.site, user=who, way="push", address="https://push.example.org/x")
    services.add(row, by=scene.BY)
    digest.make(clock.now)
    assert Delivery.objects.get().notice.user == who


def test_a_long_list_says_how_many_more_there_are(clock: Clock) -> None:
    site = make.site(zone="UTC", key="skerrow")
    for _number in range(43):
        make.work(make.rule(make.equipment(site), months=12), date(2025, 11, 20))
    looking.sweep(clock.now)
    who = make.user(site, "maintainer")
    digest.make(clock.now)
    assert "- and 3 more:" in body(who)
    assert "43 things to do" in Notice.objects.get(user=who).subject


def test_a_site_without_a_plan_is_not_called_quiet(clock: Clock) -> None:
    who = make.user(make.site(zone="UTC"), "tender")
    digest.make(clock.now)
    notice = Notice.objects.get(user=who)
    assert "nothing is known of what could be treated" in notice.body
    assert "nothing needs you" not in notice.subject


def test_a_run_that_falls_between_two_sites_goes_on_where_it_stopped(
    clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    people = {make.user(make.site(zone="UTC"), "tender").pk for _site in range(3)}
    whole, left = drafts.store, [1]

    def cut(*args: Any, **named: Any) -> int:
        if not left:
            raise KeyboardInterrupt
        left.pop()
        return whole(*args, **named)

    with monkeypatch.context() as patch:
        patch.setattr(digest, "store", cut)
        with pytest.raises(KeyboardInterrupt):
            digest.make(clock.now)
    assert digest.make(clock.pass_by(minutes=10)) == "2 digests made."
    assert {one.user_id for one in scene.told("digest")} == people


def test_what_is_due_soon_is_told_once_in_full_and_then_only_counted(clock: Clock) -> None:
    """A calm digest: what is past its day stays in it every day, what is still to come is told when it is found."""
    site = make.site(zone="UTC", key="skerrow")
    make.work(make.rule(make.equipment(site, tag="SOON"), months=12), date(2025, 12, 10))
    make.work(make.rule(make.equipment(site, tag="PAST"), months=12), date(2025, 11, 20))
    who = make.user(site, "maintainer")
    for _day in range(3):
        looking.sweep(clock.now)
        digest.make(clock.now)
        clock.pass_by(days=1)
    bodies = [one.body for one in Notice.objects.filter(user=who).order_by("pk")]
    assert [("SOON" in one, "PAST" in one) for one in bodies] == [(True, True), (True, True), (False, True)]
    assert "Told before, still to come: 1 thing. /skerrow/flags/" in bodies[2]


def test_plans_that_one_need_will_stop_are_one_line_with_the_first(clock: Clock) -> None:
    chamber, _gauge = scene.gauge_chamber(date(2025, 12, 5))
    for key in ("tt5", "tt9"):
        build.plan(chamber, key, chamber.needs.get(), table_min=300)
    looking.sweep(clock.now)
    who = make.user(chamber.site, "maintainer")
    digest.make(clock.now)
    assert body(who).count("stopped by Depth") == 1
    assert "stopped by Depth; and 2 more plans" in body(who)
    assert "TT5, Chamber 1: not ready from 5 Dec 2026 19:00" in body(who)


def test_at_a_site_without_a_director_the_first_account_is_told(clock: Clock) -> None:
    """As on a box that one person has just set up: somebody has to be told; with a director the box's keeper is not."""
    alone, led = make.site(zone="UTC"), make.site(zone="UTC")
    first, boss = make.user(is_superuser=True), make.user(led, "director")
    make.supervisor(alone)
    digest.make(clock.now)
    assert {one.user_id for one in Notice.objects.filter(site=led)} == {boss.pk}
    assert first.pk in {one.user_id for one in Notice.objects.filter(site=alone)}


def test_what_lapsed_since_the_last_look_is_told_as_it_is_today(clock: Clock) -> None:
    """A box that was off for a week makes digests at once: due soon a week ago may be overdue now."""
    site = make.site(zone="UTC")
    make.work(make.rule(make.equipment(site, tag="DG-9"), months=12), date(2025, 12, 1))
    who = make.user(site, "maintainer")
    looking.sweep(clock.now)
    clock.pass_by(days=7)
    digest.make(clock.now)
    assert "DG-9: calibration: overdue, good through 1 Dec 2026" in body(who)
    assert looking.sweep(clock.now) == "flags 0 new, 1 standing"


def test_the_queries_of_a_run_do_not_grow_with_people(clock: Clock) -> None:
    counts = []
    for people in (2, 40):
        site = make.site(zone="UTC")
        for _one in range(people):
            make.user(site, "tender")
        with CaptureQueriesContext(connection) as caught:
            digest.make(clock.now)
        counts.append(len(caught))
    assert counts[0] == counts[1]
