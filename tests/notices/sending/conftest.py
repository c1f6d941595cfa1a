"""Servers on loopback and a clock that stands at noon, for tests of notices that leave the box."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from facility import events
from tests import make
from tests.notices.sending import servers
from tests.notices.sending.kit import Clock

if TYPE_CHECKING:
    from collections.abc import Iterator

    from facility.models import Site


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    found = Clock()
    monkeypatch.setattr(events, "now", found)
    return found


@pytest.fixture
def post(settings: Any) -> Iterator[servers.MailServer]:
    """A mail server that the box is set up to use."""
    with servers.mail_server() as found:
        settings.EMAIL_BACKEND = "facility.notices.mail_backend.Backend"
        settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", found.port
        settings.EMAIL_USE_TLS = settings.EMAIL_USE_SSL = False
        settings.DEFAULT_FROM_EMAIL = "deepstead@skerrow.example"
        settings.OWN_ADDRESS = "https://box.example.org/"
        yield found


@pytest.fixture
def web(settings: Any) -> Iterator[servers.WebServer]:
    """A web server on this machine that the settings allow."""
    with servers.web_server() as found:
        settings.NOTICE_LOCAL_ALLOWED = [f"127.0.0.1:{found.port}"]
        settings.OWN_ADDRESS = "https://box.example.org/"
        yield found


@pytest.fixture
def site(clock: Clock) -> Site:
    return make.site(key="skerrow", name="Skerrow")
