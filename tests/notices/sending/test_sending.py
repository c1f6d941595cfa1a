"""What leaves the box, against a mail server and a web server of the test: form, names that stay, pauses, giving up."""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import pytest

from facility.models import Delivery, Event, Notice, NoticeKind
from facility.notices import outgoing, push
from facility.notices.deliver import queue
from facility.trust import keys
from tests.notices.sending import kit, servers
from tests.notices.sending.kit import NOON, send, state, told

if TYPE_CHECKING:
    from facility.models import Site

pytestmark = [pytest.mark.django_db, pytest.mark.both]


def test_an_e_mail_says_what_to_do_next_and_as_of_when_and_is_read_back_by_the_library(
    site: Site, post: servers.MailServer
) -> None:
    kit.way(site, address="watch@example.org")
    row = told(
        site,
        subject="Table 6: not ready",
        next_action="Fill bank 1.",
        body="Bank 1 holds 120 bar. /skerrow/bank/1/ and /other/x/",
    )
    assert send() == "1 sent, 0 could not be sent now, 0 still waiting."
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
    assert "120 bar. https://box.example.org/skerrow/bank/1/ and /other/x/" in text
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


@pytest.mark.parametrize("asked", [{"EMAIL_USE_TLS": True}, {"EMAIL_HOST_USER": "box", "EMAIL_HOST_PASSWORD": "word"}])
def test_a_mail_server_that_offers_no_tls_or_no_sign_in_is_not_called_out_of_reach(
    site: Site, post: servers.MailServer, settings: Any, asked: dict[str, Any]
) -> None:
    """The server of the test answers EHLO without a keyword (RFC 5321, section 4.1.1.1), so it offers neither."""
    for name, value in asked.items():
        setattr(settings, name, value)
    kit.way(site)
    row = told(site)
    send()
    assert post.letters == []
    assert state(row).error.startswith("The mail server offers no STARTTLS, or no sign-in")
    assert row.given_up_at is None


@pytest.mark.parametrize("way", ["email", "push"])
def test_a_line_in_a_site_s_name_becomes_no_header(
    site: Site, post: servers.MailServer, web: servers.WebServer, way: str
) -> None:
    type(site).objects.update(name="Skerrow\r\nBcc: all@example.org")
    kit.way(site, way=way, address="watch@example.org" if way == "email" else web.at())
    row = told(site)
    assert send() == "1 sent, 0 could not be sent now, 0 still waiting."
    assert state(row).error == ""


def test_one_line_to_the_mail_server_carries_many(site: Site, post: servers.MailServer) -> None:
    kit.way(site)
    queue([kit.notice(site) for _n in range(45)], now=NOON)
    assert send() == "45 sent, 0 could not be sent now, 0 still waiting."
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
    assert send() == "1 sent, 0 could not be sent now, 0 still waiting."
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


def test_a_message_that_cannot_be_made_holds_up_no_other(
    site: Site, web: servers.WebServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    kit.way(site, way="push", address=web.at("/a"))
    rows = [told(site, subject="odd"), told(site, subject="plain")]
    made = push.header_text

    def header_text(text: str) -> str:
        if "odd" in text:
            raise ValueError("invalid header value")
        return made(text)

    monkeypatch.setattr(push, "header_text", header_text)
    assert send() == "1 sent, 1 could not be sent now, 1 still waiting."
    assert state(rows[0]).error == "The message could not be made: ValueError."
    assert "plain" in web.sent[0].headers["title"]


def test_a_mail_server_that_ends_the_line_after_some_messages_gets_the_rest_on_a_new_one(
    site: Site, post: servers.MailServer
) -> None:
    kit.way(site)
    queue([kit.notice(site) for _n in range(7)], now=NOON)
    post.most = 3
    assert send() == "7 sent, 0 could not be sent now, 0 still waiting."
    assert (post.connections, len({message["Message-ID"] for message in post.messages})) == (3, 7)


@pytest.mark.parametrize(
    ("address", "host", "port"),
    [
        ("http://[fd12::9]/a", "fd12::9", 80), ("https://[fd12::9]:8443/a", "fd12::9", 8443),
        ("https://push.lan/a", "push.lan", 443),
    ],
)  # fmt: skip
def test_host_and_port_are_those_of_the_address(address: str, host: str, port: int) -> None:
    link = outgoing._link(address)
    assert (link.host, link.port) == (host, port)
