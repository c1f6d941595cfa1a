"""Far sides that misbehave: they hang, dribble, speak nonsense or are no TLS server. None holds the box up."""

from __future__ import annotations

import socket
import socketserver
import time
from contextlib import suppress
from typing import TYPE_CHECKING, Any

import pytest

from facility.notices import mail_backend, outgoing
from facility.notices.parcel import SendError
from tests.notices.sending import kit, servers

if TYPE_CHECKING:
    from collections.abc import Iterator

    from facility.models import Site

PATIENCE_S = 5.0


class Odd(socketserver.StreamRequestHandler):
    """Takes the request and answers as ``way`` says."""

    way = ""

    def handle(self) -> None:
        self.connection.recv(65_536)
        if self.way == "hangs":
            time.sleep(1.5)
        elif self.way.startswith("dribbles"):
            # RFC 8446, section 5.1: a handshake record of 16 KiB is announced
            first = b"\x16\x03\x03\x40\x00" if self.way == "dribbles a record" else b"H"
            with suppress(OSError):
                for one in [first, *[b"H"] * 60]:
                    self.wfile.write(one)
                    time.sleep(0.1)
        elif self.way == "babbles":
            self.wfile.write(b"\x00\xff not HTTP\r\n\r\n")


@pytest.fixture
def odd(request: pytest.FixtureRequest, settings: Any, monkeypatch: pytest.MonkeyPatch) -> Iterator[int]:
    settings.NOTICE_LOCAL_ALLOWED = ["127.0.0.1"]
    monkeypatch.setattr(outgoing, "STEP_S", 0.5)
    monkeypatch.setattr(outgoing, "WHOLE_S", 1.0)
    handler = type("Handler", (Odd,), {"way": request.param})
    with servers.serving(servers.Lines(("127.0.0.1", 0), handler)) as port:
        yield port


@pytest.mark.parametrize(
    ("odd", "scheme", "said"),
    [
        ("hangs", "http", "does not answer in time"),
        ("dribbles", "http", "does not answer in time"),
        ("babbles", "http", "cannot be reached"),
        ("leaves", "http", "cannot be reached"),
        ("hangs", "https", "does not answer in time"),
        ("dribbles", "https", "No TLS connection"),
        ("dribbles a record", "https", "does not answer in time"),
        ("babbles", "https", "No TLS connection"),
    ],
    indirect=["odd"],
)
def test_a_far_side_that_misbehaves_is_left_in_time_and_said_in_words(odd: int, scheme: str, said: str) -> None:
    since = time.monotonic()
    with pytest.raises(SendError, match=said) as told:
        outgoing.post(f"{scheme}://127.0.0.1:{odd}/", {}, b"{}")
    assert time.monotonic() - since < PATIENCE_S
    assert told.value.link_down
    assert not told.value.final


def test_a_name_that_nobody_knows_is_said() -> None:
    """RFC 6761, section 6.4: names under .invalid never resolve."""
    with pytest.raises(SendError, match="name of the far side is not found"):
        outgoing.post("https://push.skerrow.invalid/a", {}, b"")


@pytest.mark.parametrize("odd", ["leaves"], indirect=True)
def test_a_far_side_that_is_no_longer_there_is_told_for_good(odd: int) -> None:
    """RFC 9110, section 15.5.11: 410 is likely to be permanent."""
    assert odd
    with servers.web_server() as web:
        web.answers = [(410, {}), (404, {})]
        with pytest.raises(SendError) as gone:
            outgoing.post(web.at(), {}, b"")
        with pytest.raises(SendError) as missing:
            outgoing.post(web.at(), {}, b"")
    assert (gone.value.final, missing.value.final) == (True, False)


def test_an_address_of_this_machine_itself_is_known_when_it_answers(monkeypatch: pytest.MonkeyPatch) -> None:
    """The whole of 127.0.0.0/8 is this machine (RFC 6890, table 4); here it stands for its address in the network."""
    monkeypatch.setattr(outgoing, "is_refused", lambda _address: False)
    with servers.web_server() as web, pytest.raises(SendError, match="leads to this machine"):
        outgoing.post(web.at(), {}, b"{}")
    assert web.sent == []


def test_of_a_name_with_many_addresses_only_a_few_are_tried(monkeypatch: pytest.MonkeyPatch) -> None:
    """192.0.2.0/24 is kept for examples (RFC 5737)."""
    tried: list[Any] = []
    many = [(socket.AF_INET, socket.SOCK_STREAM, 6, "", (f"192.0.2.{n}", 443)) for n in range(1, 100)]

    def connect(address: Any, **_named: Any) -> socket.socket:
        tried.append(address)
        raise TimeoutError

    monkeypatch.setattr(socket, "getaddrinfo", lambda *_a, **_n: many)
    monkeypatch.setattr(socket, "create_connection", connect)
    with pytest.raises(SendError, match="does not answer in time"):
        outgoing.post("https://push.example.org/a", {}, b"")
    assert len(tried) == outgoing.MOST_TRIED


class Slow(socketserver.StreamRequestHandler):
    """A mail server that never falls silent for a whole step, and never ends: ``way`` says from which word on."""

    way = ""

    def handle(self) -> None:
        if self.way != "greeting":
            self.wfile.write(b"220 test\r\n")
        while self.way != "greeting" and not self.rfile.readline().upper().startswith(self.way.encode()):
            self.wfile.write(b"250 ok\r\n")
        with suppress(OSError):
            for _n in range(200):
                self.wfile.write(b"250-still at it\r\n" if self.way != "greeting" else b"2")
                time.sleep(0.05)


@pytest.mark.django_db
@pytest.mark.parametrize("word", ["greeting", "EHLO", "MAIL", "DATA"])
def test_a_mail_server_that_drips_is_left_in_time(
    site: Site, settings: Any, monkeypatch: pytest.MonkeyPatch, word: str
) -> None:
    """RFC 5321, section 4.2.1: a line with a hyphen after its code says that another follows, without end."""
    settings.EMAIL_BACKEND = "facility.notices.mail_backend.Backend"
    settings.EMAIL_HOST, settings.EMAIL_USE_TLS, settings.EMAIL_USE_SSL = "127.0.0.1", False, False
    settings.EMAIL_TIMEOUT = 2
    monkeypatch.setattr(mail_backend, "WHOLE_S", 0.5)
    kit.way(site)
    row = kit.told(site)
    with servers.serving(servers.Lines(("127.0.0.1", 0), type("Handler", (Slow,), {"way": word}))) as port:
        settings.EMAIL_PORT = port
        since = time.monotonic()
        assert kit.send() == "0 sent, 1 could not be sent now, 1 still waiting."
    assert time.monotonic() - since < PATIENCE_S
    assert kit.state(row).error == "The mail server does not answer in time."
