"""A mail server and a web server on loopback, as small as a test needs them; both remember what they were sent."""

from __future__ import annotations

import socketserver
import threading
from contextlib import contextmanager
from dataclasses import dataclass, field
from email import message_from_bytes, policy
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterator
    from email.message import EmailMessage


@dataclass
class Sent:
    """One request as it came in; header names in lower case."""

    method: str
    path: str
    headers: dict[str, str]
    body: bytes


@dataclass
class MailServer:
    """Speaks as much of RFC 5321 as a client needs. ``recipients``: what it answers to RCPT for an address."""

    port: int = 0
    letters: list[tuple[str, bytes]] = field(default_factory=list)
    recipients: dict[str, str] = field(default_factory=dict)
    connections: int = 0
    most: int = 0
    """So many letters on one line, then it is cut without a word; 0: any number."""

    @property
    def messages(self) -> list[EmailMessage]:
        return [message_from_bytes(raw, policy=policy.default) for _to, raw in self.letters]


class Lines(socketserver.ThreadingTCPServer):
    allow_reuse_address = True
    daemon_threads = True


@contextmanager
def mail_server(before: MailServer | None = None) -> Iterator[MailServer]:
    """Serve; one that served before comes back on its port, with what it was sent."""
    kept = before or MailServer()

    class Handler(socketserver.StreamRequestHandler):
        def say(self, line: str) -> None:
            self.wfile.write(f"{line}\r\n".encode())

        def handle(self) -> None:
            kept.connections += 1
            to, taken = "", 0
            self.say("220 test")
            while line := self.rfile.readline().decode().strip():
                word = line.upper()
                if word == "QUIT":
                    self.say("221 bye")
                    return
                if word.startswith("RCPT"):
                    to = line.partition("<")[2].partition(">")[0]
                    self.say(kept.recipients.get(to, "250 ok"))
                elif word == "DATA":
                    self.say("354 go on")
                    raw = b"".join(iter(self.rfile.readline, b".\r\n"))
                    kept.letters.append((to, raw))
                    self.say("250 taken")
                    taken += 1
                    if taken == kept.most:
                        return
                else:
                    self.say("250 ok")

    with serving(Lines(("127.0.0.1", kept.port), Handler)) as port:
        kept.port = port
        yield kept


def _set() -> threading.Event:
    found = threading.Event()
    found.set()
    return found


@dataclass
class WebServer:
    """Answers each POST with the next of ``answers``, then with 200. An answer is a status and headers."""

    port: int = 0
    sent: list[Sent] = field(default_factory=list)
    answers: list[tuple[int, dict[str, str]]] = field(default_factory=list)
    may_answer: threading.Event = field(default_factory=_set)

    def at(self, path: str = "/") -> str:
        return f"http://127.0.0.1:{self.port}{path}"


@contextmanager
def web_server(before: WebServer | None = None) -> Iterator[WebServer]:
    """Serve; one that served before comes back on its port, with what it was sent."""
    kept = before or WebServer()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            self.take("POST")

        def do_GET(self) -> None:
            self.take("GET")

        def take(self, method: str) -> None:
            body = self.rfile.read(int(self.headers.get("content-length", "0")))
            headers = {name.lower(): value for name, value in self.headers.items()}
            kept.sent.append(Sent(method, self.path, headers, body))
            kept.may_answer.wait(30)
            status, more = kept.answers.pop(0) if kept.answers else (200, {})
            self.send_response(status)
            for name, value in ({"content-length": "0"} | more).items():
                self.send_header(name, value)
            self.end_headers()

        def log_message(self, *_words: Any) -> None:
            return

    with serving(ThreadingHTTPServer(("127.0.0.1", kept.port), Handler)) as port:
        kept.port = port
        yield kept


@contextmanager
def serving(server: socketserver.TCPServer) -> Iterator[int]:
    thread = threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True)
    thread.start()
    try:
        yield server.server_address[1]
    finally:
        server.shutdown()
        server.server_close()
        thread.join(timeout=5)
