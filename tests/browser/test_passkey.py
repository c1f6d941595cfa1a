"""A passkey is kept and shown by a real browser with an authenticator of its own (W3C Web Authentication, its test API)."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from facility.accounts import passkeys
from facility.models import FactorSort, SecondFactor
from tests import make

if TYPE_CHECKING:
    from collections.abc import Callable

    from playwright.sync_api import Page
    from pytest_django.live_server_helper import LiveServer

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def box(page: Page, live_server: LiveServer, monkeypatch: pytest.MonkeyPatch) -> str:
    """Reach the box by the one name for which browsers take passkeys without TLS, with an authenticator plugged in."""
    monkeypatch.setattr(passkeys, "offered", lambda _request: True)
    session = page.context.new_cdp_session(page)
    session.send("WebAuthn.enable")
    session.send("WebAuthn.addVirtualAuthenticator", {"options": {
        "protocol": "ctap2", "transport": "internal", "hasUserVerification": True, "isUserVerified": True,
        "automaticPresenceSimulation": True,
    }})  # fmt: skip
    return live_server.url.replace("127.0.0.1", "localhost")


def test_a_passkey_is_kept_and_opens_the_door_after_the_password(
    page: Page, box: str, faults: list[str], barriers: Callable[[Page], list[str]]
) -> None:
    user: Any = make.user()
    page.goto(f"{box}/sign-in/")
    _password(page, user.username)
    page.goto(f"{box}/account/proofs/passkey/")
    page.locator("input[name=password]").fill(make.PASSWORD)
    page.locator("input[name=name]").fill("tablet of the panel")
    page.get_by_role("button", name="Go on").click()
    page.locator("b", has_text="tablet of the panel").wait_for()
    assert barriers(page) == []
    assert SecondFactor.objects.get().sort == FactorSort.PASSKEY
    page.get_by_role("button", name="Sign out", exact=True).click()
    _password(page, user.username)
    assert page.url.endswith("/sign-in/second/")
    assert barriers(page) == []
    page.get_by_role("button", name="Use my passkey").click()
    page.wait_for_url(lambda url: "second" not in url)
    assert SecondFactor.objects.get().used_at is not None
    faults[:] = [one for one in faults if not one.startswith(box)]  # the box under its other name is no stranger


def _password(page: Page, username: str) -> None:
    page.locator("input[name=username]").fill(username)
    page.locator("input[name=password]").fill(make.PASSWORD)
    page.get_by_role("button", name="Sign in").click()
