"""A sign of life gets out while all is well, to an address of the house; what fails is counted and hinders nothing."""

from __future__ import annotations

import json
import threading
from datetime import timedelta
from http.server import BaseHTTPRequestHandler, HTTPServer
from typing import TYPE_CHECKING, Any

import pytest
from django.test import Client

from facility import events
from facility.health import box_measures, parts, pulse
from facility.models import Heartbeat, User
from facility.project import env
from tests import make

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

pytestmark = [pytest.mark.django_db, pytest.mark.both]
SECRET = "a-secret-path-7Q"
NOON = make.NOON


class Far(HTTPServer):
    """The far side on this machine: keeps what it was asked, and answers as the test wants."""

    asked: list[tuple[str, str, dict[str, str]]]
    status = 200
    silent: threading.Event | None = None


class Handler(BaseHTTPRequestHandler):
    server: Far

    def do_GET(self) -> None:
        self.server.asked.append((self.command, self.path, dict(self.headers)))
        if self.server.silent is not None:
            self.server.silent.wait(20)
        self.send_response(self.server.status)
        if self.server.status == 302:
            self.send_header("Location", f"http://127.0.0.1:{self.server.server_port}/elsewhere")
        self.end_headers()

    def log_message(self, *_rest: Any) -> None:
        """Say nothing."""


@pytest.fixture
def far(settings: Any) -> Iterator[Far]:
    server = Far(("127.0.0.1", 0), Handler)
    server.asked = []
    settings.HEARTBEAT_URL = f"http://127.0.0.1:{server.server_port}/{SECRET}"
    thread = threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True)
    thread.start()
    yield server
    if server.silent is not None:
        server.silent.set()
    server.shutdown()
    server.server_close()
    thread.join(timeout=5)


@pytest.fixture(autouse=True)
def _well(monkeypatch: pytest.MonkeyPatch, settings: Any, tmp_path: Path) -> None:
    """A box of which every part is well."""
    monkeypatch.setattr(events, "now", lambda: NOON)
    for name in ("http_proxy", "HTTP_PROXY", "all_proxy", "ALL_PROXY"):
        monkeypatch.delenv(name, raising=False)
    settings.DATA_DIR, settings.BACKUP_COPIES, settings.BACKUP_COMMAND = tmp_path, [], ""
    settings.HEARTBEAT_URL, settings.HEARTBEAT_MIN = "", 5
    Heartbeat.objects.create(name="jobs@box", beat_at=NOON, started_at=NOON)


def jobs_page() -> str:
    client = Client()
    person, _made = User.objects.get_or_create(username="first", defaults={"is_superuser": True})
    client.force_login(person, "django.contrib.auth.backends.ModelBackend")
    return " ".join(client.get("/box/jobs/").content.decode().split())


def test_a_well_box_asks_the_address_once_and_tells_nothing_of_itself(far: Far) -> None:
    assert pulse.send(NOON) == pulse.Sent(NOON.isoformat(), NOON.isoformat())
    ((method, path, headers),) = far.asked
    assert (method, path) == ("GET", f"/{SECRET}")
    assert set(headers) == {"Accept-Encoding", "Connection", "Host", "User-Agent"}
    assert "The last sign of life to the outside got out on 12 Mar 2026 12:00." in jobs_page()


def test_a_box_of_which_a_part_is_not_well_stays_silent_and_says_why(far: Far, settings: Any) -> None:
    settings.DISK_LEAST_MIB = 10**9
    assert pulse.send(NOON).held_back == "disk"
    assert far.asked == []
    assert "held back, for these parts are not well: disk" in jobs_page()


def test_a_box_whose_runner_stands_still_stays_silent(far: Far) -> None:
    Heartbeat.objects.all().delete()
    pulse.send(NOON)
    assert far.asked == []


@pytest.mark.parametrize(
    ("status", "error"), [(500, "it answered 500"), (302, "it answered 302"), (404, "it answered 404")]
)
def test_what_fails_is_counted_until_one_gets_out_and_no_redirect_is_followed(
    far: Far, status: int, error: str
) -> None:
    far.status = status
    for count in (1, 2):
        found = pulse.send(NOON)
        assert (found.failures, found.error, found.well_at) == (count, error, "")
    assert [path for _method, path, _headers in far.asked] == [f"/{SECRET}"] * 2
    page = jobs_page()
    assert f"2 failed since, the last one: {error}" in page
    assert SECRET not in page
    far.status = 204
    assert pulse.send(NOON).failures == 0
    assert "failed since" not in jobs_page()


def test_a_far_side_that_refuses_or_never_answers_is_told_in_words(
    far: Far, settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pulse, "WAIT_S", 0.2)
    far.silent = threading.Event()
    assert pulse.send(NOON).error in ("timed out", "TimeoutError")
    with HTTPServer(("127.0.0.1", 0), Handler) as gone:
        settings.HEARTBEAT_URL = f"http://127.0.0.1:{gone.server_port}/{SECRET}"
    found = pulse.send(NOON)
    assert found.error == "Connection refused"
    assert found.failures == 2


def test_the_numbers_tell_failures_and_the_last_that_got_out(far: Far) -> None:
    pulse.send(NOON)
    far.status = 500
    pulse.send(NOON)
    values = {gauge.name: gauge.samples for gauge in box_measures.of_the_box(NOON)}
    assert values["deepstead_sign_of_life_failures"] == [({}, 1)]
    assert values["deepstead_sign_of_life_seconds"] == [({}, NOON.timestamp())]


def test_without_an_address_there_is_no_thread_no_number_and_no_line() -> None:
    assert pulse.start(threading.Event()) is None
    assert not [gauge for gauge in box_measures.of_the_box(NOON) if "sign_of_life" in gauge.name]
    assert "sign of life" not in jobs_page()


def test_a_runner_that_begins_anew_goes_on_where_the_last_one_was(far: Far) -> None:
    assert pulse.pause_s(NOON) == pulse.SETTLE_S
    pulse.send(NOON)
    for gone_s, pause_s in ((0, 300), (120, 180), (290, 20), (4000, 20), (-86_400, 20)):
        assert pulse.pause_s(NOON + timedelta(seconds=gone_s)) == pause_s


@pytest.mark.django_db(transaction=True)
def test_the_runner_sends_from_a_thread_of_its_own_and_goes_on_after_a_fault(
    far: Far, settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings.HEARTBEAT_MIN = 0.02 / 60
    faults = iter([RuntimeError("a fault of the program")])
    whole = parts.parts

    def first_time_wrong(at: Any) -> Any:
        for fault in faults:
            raise fault
        return whole(at)

    monkeypatch.setattr(pulse, "parts", first_time_wrong)
    stopped = threading.Event()
    thread = pulse.start(stopped)
    assert thread is not None
    for _ in range(500):
        if len(far.asked) >= 2:
            break
        stopped.wait(0.02)
    stopped.set()
    thread.join(timeout=10)
    assert len(far.asked) >= 2
    assert not thread.is_alive()


def test_what_is_kept_survives_a_broken_file(settings: Any) -> None:
    path = settings.DATA_DIR / pulse.FILE
    for text in ("", "[]", '{"unknown": 1}'):
        path.write_text(text)
        assert pulse.standing() == pulse.Sent()
    path.write_text(json.dumps({"failures": 3}))
    assert pulse.standing().failures == 3


@pytest.mark.parametrize("url", ["ftp://watch.example.org/x", "watch.house.test", "https:///x", "file:///etc/passwd"])
def test_an_address_that_cannot_be_called_is_refused_without_telling_it(
    monkeypatch: pytest.MonkeyPatch, url: str
) -> None:
    monkeypatch.setenv("DEEPSTEAD_HEARTBEAT_URL", url)
    with pytest.raises(env.EnvError, match="is no address that can be called") as refused:
        env.call_address("DEEPSTEAD_HEARTBEAT_URL")
    assert url not in str(refused.value)


def test_an_address_is_taken_as_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("DEEPSTEAD_HEARTBEAT_URL", " https://watch.example.org/ping/7?a=b ")
    assert env.call_address("DEEPSTEAD_HEARTBEAT_URL") == "https://watch.example.org/ping/7?a=b"
