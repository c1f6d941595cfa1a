"""One calm message a day for one person, at however many sites: digests that go to the same address go out as one."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from facility.models import Delivery, NoticeKind, Way
from facility.notices import sending, ways
from facility.notices.deliver import queue
from tests import make
from tests.notices.sending import kit, servers
from tests.notices.sending.kit import Clock, send, state

if TYPE_CHECKING:
    from facility.models import NoticeWay, Site, User

pytestmark = [pytest.mark.django_db, pytest.mark.both]
MINE = "ina@example.org"


@pytest.fixture
def me(site: Site) -> User:
    return make.user(site, "director", is_superuser=True)


def way(site: Site, user: User, **fields: Any) -> NoticeWay:
    return kit.way(site, user=user, **{"address": MINE} | fields)


def digest(site: Site, user: User, **fields: Any) -> Delivery:
    """Queue a digest in which something stands, unless told otherwise."""
    defaults = {
        "kind": NoticeKind.DIGEST, "user": user, "subject": f"Thu: 0 of 1 plan ready at {site.key}", "things": ["rule:1"],
        "body": f"- DG-1 of {site.key}: overdue\n  Do it. /{site.key}/rules/1/", "next_action": f"Do it at {site.key}.",
    }  # fmt: skip
    made = kit.notice(site, **defaults | fields)
    queue([made], now=made.made_at)
    return Delivery.objects.filter(notice=made).latest("pk")


def test_two_sites_are_one_message_with_both_in_it(site: Site, post: servers.MailServer, me: User) -> None:
    quiet, other = make.site(key="holm", name="Holm"), make.user(site, "tender")
    for place in (site, quiet):
        way(place, me)
    way(site, other, address="bo@example.org")
    rows = [
        digest(quiet, me, things=[], subject="Thu: nothing needs you today", body="Chamber 1: Ready"), digest(site, me),
        digest(site, other),
    ]  # fmt: skip
    assert send() == "3 sent, 0 could not be sent now, 0 still waiting."
    assert [to for to, _raw in post.letters] == [MINE, "bo@example.org"]
    mine, others = post.messages
    assert mine["Subject"] == "Skerrow: Thu: 0 of 1 plan ready at skerrow; and 1 more site"
    text = mine.get_content()
    assert text.startswith("Next: Skerrow: Do it at skerrow.")
    assert "Do it. https://box.example.org/skerrow/rules/1/" in text
    assert "Holm: Thu: nothing needs you today" in text
    assert "Chamber 1: Ready" not in text  # a quiet site is one line
    assert "Holm" not in others.get_content()
    assert {(state(row).sent_at, row.tries) for row in rows} == {(kit.NOON, 1)}


def test_more_sites_than_a_batch_holds_are_one_message(site: Site, post: servers.MailServer, me: User) -> None:
    places = [site, *(make.site() for _n in range(sending.BATCH + 4))]
    for place in places:
        way(place, me)
        digest(place, me)
    send()
    (message,) = post.messages
    assert message["Subject"].endswith("; and 24 more sites")
    assert all(f"  Do it. https://box.example.org/{place.key}/rules/1/" in message.get_content() for place in places)


def test_tried_again_it_is_the_same_message_and_what_came_later_is_not_in_it(
    site: Site, post: servers.MailServer, me: User, clock: Clock, settings: Any
) -> None:
    """The far side knows a second copy by its Message-ID: nothing may ride in it that the first copy had not."""
    places = [site, make.site(key="holm"), make.site(key="vik")]
    for place in places:
        way(place, me)
    rows = [digest(place, me) for place in places[:2]]
    settings.EMAIL_HOST = "mail.skerrow.invalid"  # RFC 6761: it never resolves
    assert send() == "0 sent, 2 could not be sent now, 2 still waiting."
    settings.EMAIL_HOST = "127.0.0.1"
    later = digest(places[2], me)
    clock.pass_by(minutes=1)
    assert send() == "3 sent, 0 could not be sent now, 0 still waiting."
    first, second = sorted(post.messages, key=lambda one: len(one.get_content()), reverse=True)
    assert first["Message-ID"].startswith(f"<notice-{rows[0].pk}.")
    assert second["Message-ID"].startswith(f"<notice-{later.pk}.")
    assert "vik" not in first.get_content()


def test_programs_and_other_kinds_and_other_addresses_get_each_by_itself(
    site: Site, post: servers.MailServer, web: servers.WebServer, me: User
) -> None:
    there = make.site(key="holm")
    for place in (site, there):
        way(place, me, way=Way.WEBHOOK, address=web.at())
        way(place, me)
        digest(place, me)
        digest(place, me, kind=NoticeKind.READINESS)
    send()
    assert len(web.sent) == 4
    assert len(post.letters) == 3
    post.letters.clear()
    ways.retire(there.notice_ways.get(way=Way.EMAIL), by=make.BY, reason="another phone")
    way(there, me, address="other@example.org")
    for place in (site, there):
        digest(place, me)
    send()
    assert {to for to, _raw in post.letters} == {MINE, "other@example.org"}
