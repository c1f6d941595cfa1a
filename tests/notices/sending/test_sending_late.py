"""A line that is down or a sender that was killed: what waits goes once, under one name; what is too old is told together."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from facility import events
from facility.health.keeping import unsent
from facility.jobs import tasks
from facility.models import Delivery, Event, Job, Membership, Notice, NoticeKind
from facility.notices import ending, sending, ways
from facility.notices.deliver import queue
from facility.notices.parcel import SendError, packed
from tests import make
from tests.notices.sending import kit, servers
from tests.notices.sending.kit import NOON, Clock, send, state, told

if TYPE_CHECKING:
    from facility.models import Site

pytestmark = [pytest.mark.django_db, pytest.mark.both]


def test_a_line_that_is_down_is_tried_after_a_growing_pause_and_sends_once_under_one_name(
    site: Site, clock: Clock, web: servers.WebServer
) -> None:
    kit.way(site, way="webhook", address=web.at())
    row = told(site)
    web.answers = [(503, {}), (503, {}), (500, {})]
    pauses = []
    while state(row).sent_at is None:
        send()
        pauses.append((state(row).due_at - clock.now).total_seconds())
        clock.now = row.due_at
    assert pauses[:3] == [30, 60, 120]
    assert row.tries == 4
    assert {one.headers["idempotency-key"] for one in web.sent} == {f'"{row.pk}.deepstead"'}
    clock.pass_by(days=1)
    assert send() == "0 sent, 0 could not be sent now, 0 still waiting."
    assert len(web.sent) == 4


def test_while_the_mail_server_is_away_it_is_asked_once_a_turn_and_the_job_goes_on_by_itself(
    site: Site, clock: Clock, post: servers.MailServer, settings: Any
) -> None:
    kit.way(site)
    queue([kit.notice(site) for _n in range(5)], now=NOON)
    Job.objects.all().delete()
    settings.EMAIL_PORT = 1  # nobody listens there
    assert send() == "0 sent, 5 could not be sent now, 5 still waiting."
    assert set(Delivery.objects.values_list("error", flat=True)) == {"The mail server cannot be reached."}
    job = Job.objects.get()
    assert (job.kind, job.due_at) == ("send_notices", NOON + timedelta(seconds=30))
    assert unsent(NOON + timedelta(seconds=30)) == (5, 30.0)
    settings.EMAIL_PORT = post.port
    clock.now = job.due_at
    assert tasks.send_notices() == "5 sent, 0 could not be sent now, 0 still waiting."
    assert len(post.letters) == 5
    assert Job.objects.count() == 1


def test_of_many_that_wait_for_one_line_only_a_batch_is_touched_one_by_one(
    site: Site, clock: Clock, post: servers.MailServer, web: servers.WebServer, settings: Any
) -> None:
    kit.way(site)
    kit.way(site, way="push", address=web.at("/a"))
    queue([kit.notice(site) for _n in range(200)], now=NOON)
    settings.EMAIL_PORT = 1
    with CaptureQueriesContext(connection) as asked:
        assert send() == "200 sent, 10 could not be sent now, 200 still waiting."
    one_by_one = [
        one for one in asked if one["sql"].startswith("UPDATE") and '"due_at"' in one["sql"].split("WHERE")[0]
    ]
    assert len(one_by_one) == 10 + 1  # half of a batch goes by e-mail
    waiting = Delivery.objects.filter(way__way="email")
    assert set(waiting.values_list("due_at", "error")) == {
        (NOON + timedelta(seconds=30), "The mail server cannot be reached."),
    }  # fmt: skip
    settings.EMAIL_PORT = post.port
    clock.pass_by(seconds=30)
    assert send() == "200 sent, 0 could not be sent now, 0 still waiting."


def test_after_three_days_it_is_given_up_and_that_is_an_event(site: Site, clock: Clock, web: servers.WebServer) -> None:
    kit.way(site, way="webhook", address=web.at())
    row = told(site)
    web.answers = [(500, {})] * 3
    send()
    clock.now = NOON + ending.KEPT - timedelta(seconds=1)
    send()
    assert state(row).given_up_at is None
    clock.now = row.due_at
    send()
    assert state(row).given_up_at == clock.now
    event = Event.objects.get(action="notice given up")
    assert json.loads(event.payload)["after"]["why"] == "It could not be sent for 3 days."
    assert unsent(clock.now) == (0, 0.0)


def test_a_box_that_was_off_for_a_week_tells_nothing_of_then(
    site: Site, clock: Clock, post: servers.MailServer
) -> None:
    kit.way(site)
    rows = [told(site, subject=f"Table {n}") for n in range(3)]
    clock.pass_by(days=7)
    fresh = told(site, made_at=clock.now)
    assert send() == "1 sent, 0 could not be sent now, 0 still waiting."
    assert state(fresh).sent_at == clock.now
    assert {state(row).error for row in rows} == {"It could not be sent for 3 days."}
    assert Event.objects.filter(action="notice given up").count() == 3


def test_a_sender_that_was_killed_leaves_a_lease_and_the_message_goes_again_under_the_same_name(
    site: Site, clock: Clock, web: servers.WebServer
) -> None:
    kit.way(site, way="webhook", address=web.at())
    row = told(site)
    (taken,) = sending.take(clock.now)
    sending._hand_over(taken, packed(taken, "deepstead"), sending.Turn("deepstead", str))  # and then it is killed
    assert send() == "0 sent, 0 could not be sent now, 1 still waiting."
    clock.pass_by(seconds=sending.LEASE.total_seconds())
    assert send() == "1 sent, 0 could not be sent now, 0 still waiting."
    assert [one.headers["idempotency-key"] for one in web.sent] == [f'"{row.pk}.deepstead"'] * 2


def test_a_lease_from_before_the_clock_was_set_back_holds_nobody_up(
    site: Site, clock: Clock, web: servers.WebServer
) -> None:
    kit.way(site, way="webhook", address=web.at())
    told(site)
    sending.take(clock.now)
    clock.pass_by(days=-1)
    assert send() == "1 sent, 0 could not be sent now, 0 still waiting."


def test_two_senders_never_take_the_same_message(site: Site, clock: Clock) -> None:
    kit.way(site, way="push", address="https://push.example.org/a")
    queue([kit.notice(site) for _n in range(30)], now=NOON)
    first, second = sending.take(clock.now), sending.take(clock.now)
    assert (len(first), len(second)) == (20, 10)
    assert not {row.pk for row in first} & {row.pk for row in second}


def test_far_sides_that_hang_hold_the_other_jobs_up_for_a_minute_and_no_call_out(
    site: Site, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Twenty far sides that hang for twenty seconds each are nearly seven minutes; the rest waits for the next run."""
    for n in range(10):
        kit.way(site, way="push", address=f"https://push{n}.example.org/a")
    slow = _queued(kit.notice(site))
    clock.pass_by(minutes=1)
    call = _queued(kit.notice(site, kind=NoticeKind.CALL_OUT))
    tried: list[int] = []
    now_s = [0.0]

    def hang(row: Delivery, *_more: Any) -> None:
        tried.append(row.pk)
        now_s[0] += 20
        raise SendError("It hangs.", link_down=True)

    monkeypatch.setattr(events, "steady_seconds", lambda: now_s[0])
    monkeypatch.setattr(sending, "_hand_over", hang)
    assert send().startswith("0 sent, ")
    assert now_s[0] <= 80
    assert set(tried) <= {row.pk for row in call}
    left = [state(row) for row in slow]
    assert {row.lease_until for row in left} == {None}
    assert {row.tries for row in left} == {0}


def _queued(made: Notice) -> list[Delivery]:
    queue([made], now=events.now())
    return list(Delivery.objects.filter(notice=made))


def test_what_waits_on_a_way_that_was_retired_or_for_an_account_without_a_role_is_given_up_in_words(
    site: Site, post: servers.MailServer
) -> None:
    ina, ole = make.user(site, "tender"), make.user(site, "tender")
    gone, kept = kit.way(site, user=ina), kit.way(site, user=ole)
    rows = [told(site, user=ina), told(site, user=ole)]
    ways.retire(gone, by=make.BY, reason="another phone")
    for one in Membership.objects.filter(user=ole):
        one.retired_at = NOON
        one.save()
    send()
    assert post.letters == []
    assert [state(row).error for row in rows] == [
        "The way was retired before it could be sent.",
        "The account was shut or lost its role before it could be sent.",
    ]
    assert kept.is_current


def test_a_digest_of_a_day_gone_by_is_not_sent_late(site: Site, clock: Clock, post: servers.MailServer) -> None:
    kit.way(site)
    old, fresh = (
        told(site, kind=NoticeKind.DIGEST),
        told(site, kind=NoticeKind.DIGEST, made_at=NOON + timedelta(days=1)),
    )
    clock.pass_by(days=1)
    assert send() == "1 sent, 0 could not be sent now, 0 still waiting."
    assert state(old).error == "Its day is over; the next digest tells what still holds."
    assert state(fresh).sent_at == clock.now


def test_what_waited_long_is_told_in_one_message_by_the_hour_it_was_made(
    site: Site, clock: Clock, post: servers.MailServer
) -> None:
    kit.way(site)
    old = [told(site, subject=f"Table {n}", made_at=NOON + timedelta(minutes=n)) for n in range(3)]
    clock.pass_by(hours=8)
    fresh = told(site, subject="Bank 2 is low", made_at=clock.now)
    assert send() == "2 sent, 0 could not be sent now, 0 still waiting."
    subjects = [message["Subject"] for message in post.messages]
    assert subjects == ["Skerrow: 3 notices could not be sent before", "Skerrow: Bank 2 is low"]
    text = post.messages[0].get_content()
    assert "2026-03-12 13:02  Table 2. Next: Fill bank 1." in text
    assert all(state(row).sent_at is None and "Told together" in row.error for row in old)
    assert state(fresh).sent_at == clock.now


def test_a_second_outage_makes_no_message_of_messages(
    site: Site, clock: Clock, post: servers.MailServer, settings: Any
) -> None:
    kit.way(site)
    settings.EMAIL_PORT = 1
    for n in range(2):
        told(site, subject=f"Table {n}")
    clock.pass_by(hours=7)
    send()
    told(site, subject="Table 2", made_at=clock.now)
    clock.pass_by(hours=7)
    send()
    settings.EMAIL_PORT = post.port
    clock.pass_by(hours=1)
    send()
    (message,) = post.messages
    assert message["Subject"] == "Skerrow: 3 notices could not be sent before"
    assert [line.split("  ")[1][:7] for line in message.get_content().splitlines() if "  Table" in line] == [
        "Table 0", "Table 1", "Table 2",
    ]  # fmt: skip


def test_what_was_acknowledged_meanwhile_is_not_sent(site: Site, clock: Clock, post: servers.MailServer) -> None:
    kit.way(site)
    row = told(site)
    Notice.objects.update(acknowledged_at=NOON)
    send()
    assert (post.letters, state(row).given_up_at) == ([], NOON)


def test_without_a_mail_server_what_waits_by_e_mail_is_given_up_and_the_rest_goes(
    site: Site, web: servers.WebServer, settings: Any
) -> None:
    settings.EMAIL_HOST = "mail.example.org"
    kit.way(site)
    kit.way(site, way="push", address=web.at("/a"))
    queue([kit.notice(site)], now=NOON)
    settings.EMAIL_HOST = ""
    assert send() == "1 sent, 0 could not be sent now, 0 still waiting."
    assert Delivery.objects.get(way__way="email").error == "No e-mail is set up on this box."
