"""Acted on over sent for each kind: counted as the page says, shown to directors, nothing retired by itself."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING

import pytest

from facility.compute.notices import Heard, worst_of
from facility.models import Notice, SiteRole
from facility.notices import acting, digest, honesty
from facility.sweep import looking
from tests import make
from tests.notices.test_pages import client, overdue, told

if TYPE_CHECKING:
    from tests.notices.conftest import Clock

pytestmark = [pytest.mark.django_db, pytest.mark.both]


def test_one_that_went_to_many_counts_once_and_a_digest_once_for_each_person(clock: Clock) -> None:
    site = make.site(key="skerrow")
    people = [make.supervisor(site) for _one in range(3)]
    for user in people:
        told(site, user, clock.now)
        told(site, user, clock.now, kind="digest", once_key=f"digest:1:2026-11-27:{user.pk}")
    acting.done(Notice.objects.filter(kind="readiness")[1], by=make.BY)
    acting.done(Notice.objects.filter(kind="digest")[0], by=make.BY)
    found = {row.kind: (row.sent, row.acted) for row in honesty.heard(site, clock.now)}
    assert (found["readiness"], found["digest"], found["box"]) == ((1, 1), (3, 1), (0, 0))


def test_what_is_older_than_ninety_days_or_another_site_s_does_not_count(clock: Clock) -> None:
    site, other = make.site(), make.site()
    told(site, make.supervisor(site), clock.now - timedelta(days=91))
    told(other, make.supervisor(other), clock.now)
    assert {row.sent for row in honesty.heard(site, clock.now)} == {0}


def test_what_was_acknowledged_and_then_mended_counts_as_acted_on(clock: Clock) -> None:
    site = make.site(zone="UTC", key="skerrow")
    seen, unseen = make.user(site, SiteRole.MAINTAINER), make.user(site, SiteRole.MAINTAINER)
    thing = overdue(site)
    digest.make(clock.now)
    acting.acknowledge(Notice.objects.get(user=seen), by=make.BY)
    rule = site.equipment.get().rules.get(pk=int(thing.split(":")[1]))
    clock.pass_by(hours=2)
    make.work(rule, date(2026, 11, 27))
    looking.sweep(clock.now)
    assert acting.settle(clock.pass_by(minutes=10)) == 1
    assert acting.settle(clock.now) == 0
    assert Notice.objects.get(user=seen).acted_at == clock.now
    assert Notice.objects.get(user=unseen).acted_at is None


def test_the_kind_that_is_acted_on_least_is_put_up_and_a_call_out_never_is() -> None:
    """20 sent and none acted on is worse than 20 with 3; 9 say nothing yet (common practice, no source)."""
    rows = [Heard("ahead", 20, 3), Heard("readiness", 20, 15), Heard("box", 9, 0), Heard("call-out", 40, 0)]
    assert honesty.put_up(rows) == rows[0]
    assert honesty.put_up(rows[1:]) is None
    assert worst_of([], 10, 50) is None


def test_the_page_is_for_directors_and_says_what_is_counted(clock: Clock) -> None:
    site = make.site(key="skerrow")
    user = make.supervisor(site)
    for number in range(12):
        told(site, user, clock.now, kind="ahead", once_key=f"ahead:{number}:{user.pk}")
    assert client(user).get("/skerrow/notices/acted-on/").status_code == 403
    page = client(make.user(site, SiteRole.DIRECTOR)).get("/skerrow/notices/acted-on/").content.decode()
    assert "Put up for retirement: a table will not be ready within the lead time" in page
    assert "0 of 12 were acted on" in page
    assert "What is counted" in page
    assert "readiness, a call-out and the box itself only Done counts" in page
    assert "A table&#x27;s readiness changed" in page


def test_a_readiness_notice_counts_only_when_somebody_pressed_done(clock: Clock) -> None:
    """As the page says: acknowledged is not acted on, and no flag stands at the word of a table."""
    site = make.site(key="skerrow")
    row = told(site, make.supervisor(site), clock.now)
    acting.acknowledge(row, by=make.BY)
    clock.pass_by(hours=2)
    looking.sweep(clock.now)
    acting.settle(clock.now)
    found = {one.kind: (one.sent, one.acted) for one in honesty.heard(site, clock.now)}
    assert found["readiness"] == (1, 0)
    acting.done(row, by=make.BY)
    found = {one.kind: (one.sent, one.acted) for one in honesty.heard(site, clock.now)}
    assert found["readiness"] == (1, 1)
