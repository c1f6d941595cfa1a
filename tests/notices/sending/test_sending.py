"""What leaves the box, against a mail server and a web server of the test: form, names that stay, pauses, giving up."""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import pytest

from facility.jobs import tasks
from facility.models import Delivery, Event, Job, Membership, Notice, NoticeKind
from facility.notices import ending, sending, ways
from facility.notices.deliver import queue
from facility.notices.parcel import packed
from facility.notices.waiting import unsent
from facility.trust import keys
from tests import make
from tests.notices.sending import kit, servers
from tests.notices.sending.kit import NOON, Clock

if TYPE_CHECKING:
    from facility.models import Site

pytestmark = [pytest.mark.django_db, pytest.mark.both]


@pytest.fixture
def site(clock: Clock) -> Site:
    return make.site(key="skerrow", name="Skerrow")


def told(site: Site, **fields: Any) -> Delivery:
    """Queue one notice and return its delivery."""
    notice = kit.notice(site, **fields)
    queue([notice], now=notice.made_at)
    return Delivery.objects.get(notice=notice)


def send() -> str:
    return sending.run(str)


def state(row: Delivery) -> Delivery:
    row.refresh_from_db()
    return row


def test_an_e_mail_says_what_to_do_next_and_as_of_when_and_is_read_back_by_the_library(
    site: Site, post: servers.MailServer
) -> None:
    kit.way(site, address="watch@example.org")
    row = told(site, subject="Table 6: not ready", next_action="Fill bank 1.", body="Bank 1 holds 120 bar.")
    assert send() == "1 sent, 0 could not be sent now, 0 wait."
    (message,) = post.messages
    assert post.letters[0][0] == "watch@example.org"
    assert message["Subject"] == "Skerrow: Table 6: not ready"
    assert message["From"] == "deepstead@skerrow.example"
    assert message["Message-ID"] == f"<notice-{row.pk}.deepstead@skerrow.example>"
    assert message["Auto-Submitted"] == "auto-generated"  # RFC 3834, section 5
    assert message.get_content_type() == "text/plain"
    text = message.get_content()
    assert text.startswith("Next: Fill bank 1.")
    assert "https://box.example.org/skerrow/now/" in text
    assert "As of 2026-03-12 13:00 CET. Look at the page before you act on it" in text  # Oslo, one hour ahead of UTC
    assert (state(row).sent_at, row.tries, row.error) == (NOON, 1, "")


def test_the_name_of_a_message_holds_the_name_of_the_box(
    site: Site, post: servers.MailServer, settings: Any, tmp_path: Any
) -> None:
    settings.DATA_DIR = tmp_path
    keys.ensure()
    kit.way(site)
    row = told(site)
    send()
    name = keys.origin().replace("/", "-")
    assert post.messages[0]["Message-ID"] == f"<notice-{row.pk}.{name}@skerrow.example>"


@pytest.mark.parametrize("odd", ["Table 6\r\nBcc: all@example.org", "Table 6\n\nBcc: x", "Table 6\x00\x0b\u2028Bcc: x"])
def test_a_line_in_a_subject_becomes_no_header(site: Site, post: servers.MailServer, odd: str) -> None:
    kit.way(site)
    told(site, subject="x")
    Notice.objects.update(subject=odd.replace("\0", "") if "\0" in odd else odd)
    send()
    (message,) = post.messages
    assert message["Bcc"] is None
    assert message["Subject"].startswith("Skerrow: Table 6 Bcc:")
    assert post.letters[0][0] == "watch@example.org"


def test_one_line_to_the_mail_server_carries_many(site: Site, post: servers.MailServer) -> None:
    kit.way(site)
    queue([kit.notice(site) for _n in range(45)], now=NOON)
    assert send() == "45 sent, 0 could not be sent now, 0 wait."
    assert (post.connections, len({message["Message-ID"] for message in post.messages})) == (1, 45)


def test_a_recipient_that_the_server_refuses_for_good_is_given_up_with_an_event_and_others_go(
    site: Site, post: servers.MailServer
) -> None:
    """RFC 5321, section 4.2.1: 5yz is permanent, 4yz is not."""
    post.recipients = {"gone@example.org": "550 5.1.1 no gone@example.org here", "busy@example.org": "450 later"}
    for name in ("gone", "busy", "watch"):
        kit.way(site, address=f"{name}@example.org")
    kit.notice(site)
    queue(list(Notice.objects.all()), now=NOON)
    send()
    rows = {row.way.address: row for row in Delivery.objects.select_related("way")}
    assert rows["watch@example.org"].sent_at == NOON
    assert rows["gone@example.org"].given_up_at == NOON
    assert rows["gone@example.org"].error == "The mail server refuses it: 550 5.1.1 no … here"
    assert (rows["busy@example.org"].given_up_at, rows["busy@example.org"].due_at) == (
        None,
        NOON + timedelta(seconds=30),
    )
    event = Event.objects.get(action="notice given up")
    assert event.subject_id == rows["gone@example.org"].way_id
    assert "gone@" not in event.payload


def test_a_webhook_is_signed_so_that_its_receiver_can_tell(site: Site, web: servers.WebServer) -> None:
    """Checked as a receiver does, from RFC 9421 (section 3.2) and RFC 9530 alone, not by the code that signs."""
    way = kit.way(site, way="webhook", address=web.at("/hook?x=1"))
    row = told(site, subject="Table 6: not ready", body="never leaves", next_action="Fill bank 1.")
    assert send() == "1 sent, 0 could not be sent now, 0 wait."
    (got,) = web.sent
    assert json.loads(got.body) == {
        "kind": "readiness", "site": "skerrow", "subject": "Table 6: not ready", "next_action": "Fill bank 1.",
        "link": "https://box.example.org/skerrow/now/", "made_at": "2026-03-12T13:00:00+01:00",
    }  # fmt: skip
    digest = base64.b64encode(hashlib.sha256(got.body).digest()).decode()
    assert got.headers["content-digest"] == f"sha-256=:{digest}:"
    assert got.headers["idempotency-key"] == f'"{row.pk}.deepstead"'
    label, _is, told_how = got.headers["signature-input"].partition("=")
    base = (
        '"@method": POST\n'
        f'"@authority": 127.0.0.1:{web.port}\n'
        '"@path": /hook\n'
        '"@query": ?x=1\n'
        '"content-type": application/json\n'
        f'"content-digest": sha-256=:{digest}:\n'
        f'"idempotency-key": "{row.pk}.deepstead"\n'
        f'"@signature-params": {told_how}'
    )
    made = base64.b64encode(hmac.new(way.secret.encode(), base.encode(), hashlib.sha256).digest()).decode()
    assert got.headers["signature"] == f"{label}=:{made}:"
    assert f';created={int(NOON.timestamp())};keyid="way-{way.pk}"' in told_how


def test_a_push_has_title_rank_and_page_in_headers(site: Site, web: servers.WebServer) -> None:
    kit.way(site, way="push", address=web.at("/skerrow-crew"), secret="tk_word")
    told(site, subject="Trykkmåler", kind=NoticeKind.CALL_OUT, next_action="Come in.")
    send()
    (got,) = web.sent
    assert (got.method, got.path) == ("POST", "/skerrow-crew")
    encoded = base64.b64encode("Skerrow: Trykkmåler".encode()).decode()
    assert got.headers["title"] == f"=?UTF-8?B?{encoded}?="  # RFC 2047, section 2
    assert (got.headers["priority"], got.headers["click"]) == ("5", "https://box.example.org/skerrow/now/")
    assert got.headers["authorization"] == "Bearer tk_word"
    assert got.body.decode().startswith("Come in.\n2026-03-12 13:00 CET")


@pytest.mark.parametrize("status", [301, 302, 303, 307, 308])
def test_a_redirect_is_not_followed(site: Site, web: servers.WebServer, status: int) -> None:
    kit.way(site, way="webhook", address=web.at("/hook"))
    row = told(site)
    web.answers = [(status, {"location": web.at("/elsewhere")})]
    send()
    assert [one.path for one in web.sent] == ["/hook"]
    assert str(status) in state(row).error
    assert row.sent_at is None


def test_what_is_on_this_machine_is_refused_unless_the_settings_name_it(
    site: Site, web: servers.WebServer, settings: Any
) -> None:
    kit.way(site, way="webhook", address=web.at())
    row = told(site)
    settings.NOTICE_LOCAL_ALLOWED = ["other.example.org"]
    send()
    assert web.sent == []
    assert "leads to this machine or its link" in state(row).error


def test_a_name_that_leads_to_this_machine_is_refused_when_it_is_resolved(
    site: Site, web: servers.WebServer, settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A name may be pointed elsewhere after it was entered: what counts is the address that is connected to."""
    settings.NOTICE_LOCAL_ALLOWED = []
    there = (2, 1, 6, "", ("127.0.0.1", web.port))
    monkeypatch.setattr("facility.notices.outgoing.socket.getaddrinfo", lambda *_a, **_k: [there])
    kit.way(site, way="push", address=f"http://innocent.example.org:{web.port}/topic")
    row = told(site)
    send()
    assert web.sent == []
    assert "leads to this machine or its link" in state(row).error


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
    assert send() == "0 sent, 0 could not be sent now, 0 wait."
    assert len(web.sent) == 4


def test_while_the_mail_server_is_away_it_is_asked_once_a_turn_and_the_job_goes_on_by_itself(
    site: Site, clock: Clock, post: servers.MailServer, settings: Any
) -> None:
    kit.way(site)
    queue([kit.notice(site) for _n in range(5)], now=NOON)
    Job.objects.all().delete()
    settings.EMAIL_PORT = 1  # nobody listens there
    assert send() == "0 sent, 5 could not be sent now, 5 wait."
    assert set(Delivery.objects.values_list("error", flat=True)) == {"The mail server cannot be reached."}
    job = Job.objects.get()
    assert (job.kind, job.due_at) == ("send_notices", NOON + timedelta(seconds=30))
    assert unsent(NOON + timedelta(seconds=30)) == (5, 30.0)
    settings.EMAIL_PORT = post.port
    clock.now = job.due_at
    assert tasks.send_notices() == "5 sent, 0 could not be sent now, 0 wait."
    assert len(post.letters) == 5
    assert Job.objects.count() == 1


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


def test_a_sender_that_was_killed_leaves_a_lease_and_the_message_goes_again_under_the_same_name(
    site: Site, clock: Clock, web: servers.WebServer
) -> None:
    kit.way(site, way="webhook", address=web.at())
    row = told(site)
    (taken,) = sending.take(clock.now)
    sending._hand_over(taken, packed(taken, "deepstead"), sending.Turn("deepstead", str))  # and then it is killed
    assert send() == "0 sent, 0 could not be sent now, 1 wait."
    clock.pass_by(seconds=sending.LEASE.total_seconds())
    assert send() == "1 sent, 0 could not be sent now, 0 wait."
    assert [one.headers["idempotency-key"] for one in web.sent] == [f'"{row.pk}.deepstead"'] * 2


def test_a_lease_from_before_the_clock_was_set_back_holds_nobody_up(
    site: Site, clock: Clock, web: servers.WebServer
) -> None:
    kit.way(site, way="webhook", address=web.at())
    told(site)
    sending.take(clock.now)
    clock.pass_by(days=-1)
    assert send() == "1 sent, 0 could not be sent now, 0 wait."


def test_two_senders_never_take_the_same_message(site: Site, clock: Clock) -> None:
    kit.way(site, way="push", address="https://push.example.org/a")
    queue([kit.notice(site) for _n in range(30)], now=NOON)
    first, second = sending.take(clock.now), sending.take(clock.now)
    assert (len(first), len(second)) == (20, 10)
    assert not {row.pk for row in first} & {row.pk for row in second}


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
    assert send() == "1 sent, 0 could not be sent now, 0 wait."
    assert state(old).error == "Its day is over; the next digest tells what still holds."
    assert state(fresh).sent_at == clock.now


def test_what_waited_long_is_told_in_one_message_by_the_hour_it_was_made(
    site: Site, clock: Clock, post: servers.MailServer
) -> None:
    kit.way(site)
    old = [told(site, subject=f"Table {n}", made_at=NOON + timedelta(minutes=n)) for n in range(3)]
    clock.pass_by(hours=8)
    fresh = told(site, subject="Bank 2 is low", made_at=clock.now)
    assert send() == "2 sent, 0 could not be sent now, 0 wait."
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
    assert send() == "1 sent, 0 could not be sent now, 0 wait."
    assert Delivery.objects.get(way__way="email").error == "No e-mail is set up on this box."
