"""Deliveries are made in bulk, once, on the ways of those concerned; an account without a way is given its e-mail."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from facility import events, record_check, services
from facility.health.keeping import unsent
from facility.models import Delivery, Event, Job, Notice, NoticeWay, User
from facility.notices.deliver import queue
from tests import make
from tests.notices.sending import kit
from tests.notices.sending.kit import NOON

if TYPE_CHECKING:
    from facility.models import Site

pytestmark = [pytest.mark.django_db, pytest.mark.both]


@pytest.fixture(autouse=True)
def _set_up(monkeypatch: pytest.MonkeyPatch, settings: Any) -> None:
    settings.EMAIL_HOST = "mail.example.org"
    monkeypatch.setattr(events, "now", lambda: NOON)


@pytest.fixture
def site() -> Site:
    return make.site()


def test_a_notice_goes_on_each_way_of_its_account_at_its_site_and_on_no_other(site: Site) -> None:
    ina, elsewhere = make.user(site, email="ina@example.org"), make.site()
    mine = [kit.way(site, user=ina), kit.way(site, user=ina, way="push", address="https://push.example.org/a")]
    kit.way(elsewhere, user=ina)
    kit.way(site)
    kit.way(site, user=make.user(site))
    assert queue([kit.notice(site, user=ina)], now=NOON) == 2
    assert set(Delivery.objects.values_list("way", flat=True)) == {way.pk for way in mine}


def test_a_notice_to_the_site_goes_on_the_sites_own_ways(site: Site) -> None:
    own = kit.way(site)
    kit.way(site, user=make.user(site))
    assert queue([kit.notice(site)], now=NOON) == 1
    assert Delivery.objects.get().way == own


def test_an_account_that_never_had_a_way_is_given_its_e_mail_once_and_without_the_address_on_record(site: Site) -> None:
    ina = make.user(site, email="ina.test@example.org")
    queue([kit.notice(site, user=ina)], now=NOON)
    queue([kit.notice(site, user=ina)], now=NOON)
    way = NoticeWay.objects.get()
    assert (way.way, way.address, way.user) == ("email", "ina.test@example.org", ina)
    event = Event.objects.get(action="way of notices given")
    assert (event.subject_id, event.actor) == (way.pk, "system:notices")
    assert "ina.test" not in event.payload
    assert json.loads(event.payload)["site"] == site.key
    assert record_check.verify().ok


def test_who_took_their_way_away_is_not_given_another(site: Site) -> None:
    ina = make.user(site, email="ina@example.org")
    services.retire(kit.way(site, user=ina), by=make.BY, reason="too much")
    assert queue([kit.notice(site, user=ina)], now=NOON) == 0
    assert NoticeWay.objects.count() == 1
    assert not Job.objects.exists()


@pytest.mark.parametrize("address", ["", "no address", "a@b.no\r\nBcc: c@d.no"])
def test_an_account_without_a_usable_address_is_given_no_way(site: Site, address: str) -> None:
    ina = make.user(site, email=address)
    assert queue([kit.notice(site, user=ina)], now=NOON) == 0


def test_queueing_again_has_no_second_effect(site: Site) -> None:
    kit.way(site)
    told = [kit.notice(site), kit.notice(site)]
    assert queue(told, now=NOON) == 2
    assert queue(told, now=NOON) == 0
    assert Delivery.objects.count() == 2
    assert Job.objects.filter(kind="send_notices").count() == 1


def test_without_a_mail_server_an_e_mail_is_given_up_at_once_and_says_why(site: Site, settings: Any) -> None:
    settings.EMAIL_HOST = ""
    kit.way(site)
    kit.notice(site)
    queue(list(Notice.objects.all()), now=NOON)
    row = Delivery.objects.get()
    assert (row.given_up_at, row.error) == (NOON, "No e-mail is set up on this box.")
    assert unsent(NOON) == (0, 0.0)
    assert not Job.objects.exists()


def test_nobody_told_is_nothing_queued() -> None:
    assert queue([], now=NOON) == 0


def test_ten_thousand_notices_take_few_queries(site: Site) -> None:
    """Issue: notices of 10 000 people queued within 20 s; here the queries are held, which no busy machine changes."""
    users = User.objects.bulk_create([User(username=f"u{n}", email=f"u{n}@example.org") for n in range(10_000)])
    rows = [NoticeWay(site=site, user=user, way="email", address=user.email, recorded_at=NOON) for user in users]
    NoticeWay.objects.bulk_create(rows)
    notices = Notice.objects.bulk_create(
        [
            Notice(site=site, user=user, kind="digest", once_key=f"k{user.pk}", subject="s", body="b", made_at=NOON)
            for user in users
        ]
    )
    with CaptureQueriesContext(
        connection,
    ) as asked:
        assert queue(notices, now=NOON) == 10_000
    assert len(asked) < 10_000 / 50  # a statement of SQLite takes about a hundred rows


def test_what_waits_is_counted_with_the_age_of_the_oldest(site: Site) -> None:
    kit.way(site)
    queue([kit.notice(site), kit.notice(site, made_at=NOON - timedelta(hours=2))], now=NOON)
    assert unsent(NOON) == (2, 7200.0)
    Delivery.objects.filter(notice__made_at=NOON).update(sent_at=NOON)
    assert unsent(NOON + timedelta(minutes=1)) == (1, 7260.0)
    assert unsent(NOON - timedelta(days=1)) == (1, 0.0)
