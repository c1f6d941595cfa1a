"""The daily look on records: an event once per thing and day, nothing the second time, no storm after a pause."""

from __future__ import annotations

import json
from datetime import date, timedelta
from typing import TYPE_CHECKING

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext

from facility import events, services
from facility.compute.flags import FlagState, Sort
from facility.models import Contact, Event, Flag, Heartbeat, HouseRule
from facility.sweep import looking
from tests import make
from tests.facility.readiness_db import build

if TYPE_CHECKING:
    from facility.models import Chamber, Site

pytestmark = [pytest.mark.django_db, pytest.mark.both]

T = build.T
BY = make.BY


@pytest.fixture(autouse=True)
def _clock(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the clock stand at noon of the look, so that what a test records is not of later."""
    monkeypatch.setattr(events, "now", lambda: T)


def states(site: Site) -> dict[str, str]:
    return {row.thing.split(":")[0]: row.state for row in Flag.objects.filter(site=site, over_at=None)}


def gauge_done(site: Site, done_on: date, months: int = 12) -> None:
    make.work(make.rule(make.equipment(site), months=months), done_on)


def flag_events() -> list[str]:
    return list(Event.objects.filter(action__startswith="flag:").order_by("seq").values_list("action", flat=True))


def test_each_sort_of_thing_is_found() -> None:
    """Today is 27 November 2026 (T). A certificate that nobody read a second time does not count."""
    site = make.site(zone="UTC")
    gauge_done(site, date(2025, 12, 1))  # 12 months: good through 1 December 2026
    make.equipment(site, life_ends_on=date(2026, 11, 26))
    who, kind = make.person(site), make.qualification_kind(site.organisation)
    build.held(who, kind, date(2026, 11, 26))
    build.medical(who, good_until=date(2026, 12, 20))
    services.add(Contact(site=site, key="doctor", kind="physician", name="Doctor", phone="1"), by=BY)
    assert looking.sweep(T) == "flags 5 new, 5 standing"
    assert states(site) == {
        "rule": "due soon", "life": "lapsed", "qualification": "lapsed", "medical": "due soon", "contact": "never recorded",
    }  # fmt: skip


def test_run_again_at_once_it_finds_nothing_new_and_records_nothing() -> None:
    chamber = build.worked_example()
    gauge_done(chamber.site, date(2025, 11, 1))
    first = looking.sweep(T)
    before = Event.objects.count()
    new, standing = (int(word) for word in first.split() if word.isdigit())
    assert new == standing > 1
    assert looking.sweep(T) == f"flags 0 new, {standing} standing"
    assert Event.objects.count() == before
    assert looking.sweep(T + timedelta(hours=1)) == f"flags 0 new, {standing} standing"


def test_a_renewed_certificate_lifts_the_flag_of_the_old_one() -> None:
    site = make.site(zone="UTC")
    who, kind = make.person(site), make.qualification_kind(site.organisation)
    build.held(who, kind, date(2026, 11, 26))
    looking.sweep(T)
    build.held(who, kind, date(2028, 11, 26))
    assert looking.sweep(T) == "flags 0 new, 0 standing"
    assert Flag.objects.get().over_at == T


def test_due_soon_then_overdue_are_two_events_on_two_days() -> None:
    site = make.site(zone="UTC")
    gauge_done(site, date(2025, 11, 27))  # good through the very day of T
    looking.sweep(T)
    assert looking.sweep(T + timedelta(days=1)) == "flags 1 new, 1 standing"
    assert flag_events() == ["flag:due soon", "flag:overdue"]
    assert looking.sweep(T + timedelta(days=7)) == "flags 0 new, 1 standing"


def test_a_flag_that_comes_back_the_same_day_is_not_told_twice() -> None:
    site = make.site(zone="UTC")
    who, kind = make.person(site), make.qualification_kind(site.organisation)
    build.held(who, kind, date(2026, 11, 26))
    looking.sweep(T)
    renewed = build.held(who, kind, date(2028, 11, 26))
    looking.sweep(T)
    services.retire(renewed, by=BY, reason="of another person")
    assert looking.sweep(T) == "flags 0 new, 1 standing"
    assert len(flag_events()) == 1


def test_a_week_without_looks_is_one_look_s_worth_of_flags() -> None:
    """No storm of old notices after a power cut: one event for a thing, whatever was missed."""
    site = make.site(zone="UTC")
    gauge_done(site, date(2025, 11, 28))
    assert looking.sweep(T + timedelta(days=7)) == "flags 1 new, 1 standing"
    assert flag_events() == ["flag:overdue"]


def test_the_day_is_the_site_s_own() -> None:
    """10:00 UTC on 27 November is 23:00 in Auckland and 00:00 of the 28th on Kiritimati (zone database, zoneinfo)."""
    here, ahead = make.site(zone="Pacific/Auckland"), make.site(zone="Pacific/Kiritimati")
    for site in (here, ahead):
        gauge_done(site, date(2025, 11, 27))
    looking.sweep(T)
    assert (states(here), states(ahead)) == ({"rule": "due soon"}, {"rule": "overdue"})


def test_a_window_keeps_good_only_where_the_house_says_so() -> None:
    kept, strict = make.site(zone="UTC"), make.site(zone="UTC")
    for site in (kept, strict):
        make.work(make.rule(make.equipment(site), months=12, window_days=5), date(2025, 11, 25))
    build_rule(kept, "window_keeps_good", 1)
    looking.sweep(T)
    assert (states(kept), states(strict)) == ({"rule": "due soon"}, {"rule": "overdue"})


def build_rule(site: Site, key: str, value: int) -> None:
    services.add(
        HouseRule(site=site, key=key, value=value, approved_by="Ina Test", in_force_from=build.LONG_AGO), by=BY
    )


def one_gauge_plan() -> Chamber:
    """Return a chamber whose plan of one hour rests on one gauge that is good through 29 November."""
    chamber = make.chamber(make.site(zone="UTC"))
    gauge = make.equipment(chamber.site)
    make.work(make.rule(gauge, months=12), date(2025, 11, 29))
    build.plan(chamber, "tt6", build.need(chamber, "depth", gauge))
    return chamber


def test_a_plan_that_will_not_be_ready_is_told_with_the_need_and_the_instant() -> None:
    chamber = one_gauge_plan()
    looking.sweep(T)
    flags = Flag.objects.filter(sort=Sort.PLAN, state=FlagState.AHEAD)
    assert len(flags) == 1
    told = json.loads(Event.objects.get(seq=flags[0].event_seq).payload)
    assert told["after"]["thing"] == f"{chamber.key}: tt6"
    assert told["after"]["note"] == "not ready from 2026-11-29T23:00Z, stopped by depth"
    assert (told["subject_kind"], told["subject_id"]) == ("facility.chamber", str(chamber.pk))


def test_the_lead_time_is_the_house_s() -> None:
    chamber = one_gauge_plan()
    build_rule(chamber.site, "lead_time_days", 0)
    looking.sweep(T)
    assert not Flag.objects.filter(sort=Sort.PLAN).exists()


def test_a_clock_set_back_a_day_flags_nothing_and_says_so() -> None:
    gauge_done(make.site(zone="UTC"), date(2025, 11, 27))
    with pytest.raises(looking.ClockError, match="clock says 2026-11-26 10:00 UTC"):
        looking.sweep(T - timedelta(days=1))
    assert not Flag.objects.exists()


def test_the_command_prints_the_line_last(capsys: pytest.CaptureFixture[str]) -> None:
    gauge_done(make.site(zone="UTC"), date(2025, 11, 27))
    call_command("run_job", "sweep")
    assert capsys.readouterr().out.splitlines()[-1] == "flags 1 new, 1 standing"
    call_command("run_job", "sweep")
    assert capsys.readouterr().out.splitlines()[-1] == "flags 0 new, 1 standing"


def test_queries_grow_neither_with_records_nor_within_a_round_with_sites() -> None:
    site = make.site(zone="UTC")
    counts = []
    for items in (1, 12):
        for _ in range(items):
            gauge_done(site, date(2025, 11, 27))
        looking.sweep(T)
        with CaptureQueriesContext(connection) as caught:
            looking.sweep(T)
        counts.append(len(caught))
        site = make.site(zone="UTC")
    assert counts[0] == counts[1]


def test_an_event_of_the_look_is_by_the_system_and_no_heartbeat() -> None:
    gauge_done(make.site(zone="UTC"), date(2025, 11, 27))
    looking.sweep(T)
    assert Event.objects.get(action="flag:due soon").actor == "system:sweep"
    assert not Heartbeat.objects.exists()


def test_sites_and_things_no_longer_kept_are_not_looked_at() -> None:
    site = make.site(zone="UTC")
    rule = make.rule(make.equipment(site))
    make.work(rule, date(2020, 1, 1))
    services.retire(rule, by=BY, reason="scrapped")
    assert looking.sweep(T) == "flags 0 new, 0 standing"
