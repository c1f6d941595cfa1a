"""The hour of the digest: each person's own, by the clock of the site, on the days on which clocks change too."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

import pytest

from facility import services
from facility.models import Delivery, Membership, NoticeHour, NoticeWay, Way
from facility.notices import digest, together
from facility.sweep import looking
from tests import make
from tests.notices import scene

if TYPE_CHECKING:
    from facility.models import Notice, User
    from tests.notices.conftest import Clock

pytestmark = [pytest.mark.django_db, pytest.mark.both]


def want_hour(user: User, hour: int) -> None:
    services.add(NoticeHour(user=user, hour=hour), by=scene.BY)


def test_it_comes_at_the_person_s_hour_by_the_clock_of_the_site(clock: Clock) -> None:
    """10:00 UTC on 27 November 2026 is 11:00 in Oslo and 05:00 in New York (zone database, zoneinfo)."""
    here = make.user(make.site(zone="Europe/Oslo"), "tender")
    there = make.user(make.site(zone="America/New_York"), "tender")
    late = make.user(make.site(zone="Europe/Oslo"), "tender")
    want_hour(late, 12)
    digest.make(clock.now)
    assert {one.user_id for one in scene.told("digest")} == {here.pk}
    digest.make(clock.pass_by(hours=1))
    assert {one.user_id for one in scene.told("digest")} == {here.pk, late.pk}
    digest.make(clock.pass_by(hours=1))
    assert there.pk in {one.user_id for one in scene.told("digest")}


def test_one_person_with_sites_in_two_zones_is_told_once_a_day_at_the_hour_of_their_first(
    clock: Clock,
) -> None:
    """07:00 in Oslo is 01:00 in New York and 19:00 in Auckland in November (zone database, zoneinfo).

    Common practice, no source: people expect one digest a day at the hour they chose.
    """
    clock.now = clock.now.replace(hour=5, minute=50)
    sites = [make.site(zone=zone) for zone in ("Europe/Oslo", "America/New_York", "Pacific/Auckland")]
    who = make.user(sites[0], "tender", email="one@example.org")
    for site in sites[1:]:
        services.add(Membership(user=who, site=site, role="tender"), by=scene.BY)
    for site in sites:
        services.add(NoticeWay(site=site, user=who, way=Way.EMAIL, address="one@example.org"), by=scene.BY)
    for day in ("Fri 27 Nov", "Sat 28 Nov"):
        digest.make(clock.now)
        assert not new_of_day(who, day), "nothing before the hour"
        for _hour in range(24):
            digest.make(clock.pass_by(minutes=10 if clock.now.minute else 60))
        told = new_of_day(who, day)
        assert {one.site_id for one in told} == {site.pk for site in sites}
        assert {(one.made_at.hour, one.made_at.minute) for one in told} == {(6, 0)}
        assert len(together.loads(Delivery.objects.filter(notice__in=told).select_related("notice", "way"))) == 1
        clock.now = clock.now.replace(hour=5, minute=50)


def new_of_day(who: User, day: str) -> list[Notice]:
    return [one for one in scene.told("digest") if one.user_id == who.pk and one.subject.startswith(day)]


def test_where_one_only_inspects_is_not_ones_first_site(clock: Clock) -> None:
    """10:00 UTC is 05:00 in New York and 11:00 in Oslo (zone database, zoneinfo)."""
    inspected, own = make.site(zone="America/New_York"), make.site(zone="Europe/Oslo")
    who = make.user(inspected, "inspector")
    services.add(Membership(user=who, site=own, role="tender"), by=scene.BY)
    digest.make(clock.now)
    assert [one.site_id for one in scene.told("digest") if one.user_id == who.pk] == [own.pk]


def test_what_was_found_on_the_sites_own_day_is_told_in_full_where_the_person_is_a_day_ahead(clock: Clock) -> None:
    """19:00 UTC on 27 November is the 28th in Auckland and the 27th in New York (zone database, zoneinfo)."""
    clock.now = clock.now.replace(day=27, hour=3)  # still the 26th in New York: the nightly look there
    home, far = make.site(zone="Pacific/Auckland"), make.site(zone="America/New_York")
    who = make.user(home, "tender")
    services.add(Membership(user=who, site=far, role="tender"), by=scene.BY)
    rule = make.rule(make.equipment(far, tag="DG-9"), months=12)
    make.work(rule, date(2025, 12, 10))
    looking.sweep(clock.now)
    clock.now = clock.now.replace(hour=19)
    digest.make(clock.now)
    (told,) = [one for one in scene.told("digest") if one.site_id == far.pk]
    assert told.subject.startswith("Sat 28 Nov")
    assert "DG-9" in told.body


def test_a_day_on_which_clocks_go_back_has_one_digest(clock: Clock) -> None:
    """On 31 October 2027 Oslo has 02:30 twice, at 00:30 and 01:30 UTC (zone database, zoneinfo)."""
    who = make.user(make.site(zone="Europe/Oslo"), "tender")
    want_hour(who, 2)
    clock.now = clock.now.replace(year=2027, month=10, day=31, hour=0, minute=30)
    for _hour in range(3):
        digest.make(clock.now)
        clock.pass_by(hours=1)
    assert len(scene.told("digest")) == 1


def test_an_hour_that_a_day_does_not_have_comes_with_the_next(clock: Clock) -> None:
    """On 28 March 2027 Oslo goes from 02:00 to 03:00 at 01:00 UTC (zone database, zoneinfo)."""
    who = make.user(make.site(zone="Europe/Oslo"), "tender")
    want_hour(who, 2)
    clock.now = clock.now.replace(year=2027, month=3, day=28, hour=0, minute=55)
    assert digest.make(clock.now) == "0 digests made."
    assert digest.make(clock.pass_by(minutes=10)) == "1 digest made."


def test_a_first_account_that_stands_in_has_its_own_hour_too(clock: Clock) -> None:
    make.site(zone="UTC")
    first = make.user(is_superuser=True)
    want_hour(first, clock.now.hour + 1)
    digest.make(clock.now)
    assert not scene.told("digest")
    digest.make(clock.pass_by(hours=1))
    assert [one.user_id for one in scene.told("digest")] == [first.pk]
