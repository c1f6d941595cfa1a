"""The hour of the digest: each person's own, by the clock of the site, on the days on which clocks change too."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from facility import services
from facility.models import NoticeHour
from facility.notices import digest
from tests import make
from tests.notices import scene

if TYPE_CHECKING:
    from facility.models import User
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
