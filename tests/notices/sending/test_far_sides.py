"""Far sides that misbehave: they hang, dribble, speak nonsense or are no TLS server. None holds the box up."""

from __future__ import annotations

import socketserver
import time
from typing import TYPE_CHECKING, Any

import pytest

from facility.notices import outgoing
from facility.notices.parcel import SendError
from tests.notices.sending import servers

if TYPE_CHECKING:
    from collections.abc import Iterator

PATIENCE_S = 5.0


class Odd(socketserver.StreamRequestHandler):
    """Takes the request and answers as ``way`` says."""

    way = ""

    def handle(self) -> None:
        self.connection.recv(65_536)
        if self.way == "hangs":
            time.sleep(1.5)
        elif self.way == "dribbles":
            for _n in range(60):
                self.wfile.write(b"H")
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
        ("dribbles", "http", "cannot be reached"),
        ("babbles", "http", "cannot be reached"),
        ("leaves", "http", "cannot be reached"),
        ("hangs", "https", "does not answer in time"),
        ("dribbles", "https", "No TLS connection"),
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
