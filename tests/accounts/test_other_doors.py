"""The other doors: a header that a trusted proxy sets, a provider of OpenID Connect; and a device left alone."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Iterator
from datetime import timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from django.contrib.sessions.models import Session
from django.test import Client
from django.urls import reverse
from joserfc import jwk, jwt

from facility import events
from facility.accounts import factors
from facility.models import FactorSort
from tests import make

pytestmark = pytest.mark.django_db
KEY = jwk.RSAKey.generate_key(2048, {"kid": "one", "use": "sig", "alg": "RS256"})
OTHER_KEY = jwk.RSAKey.generate_key(2048, {"kid": "one", "use": "sig", "alg": "RS256"})


def is_in(client: Client, **headers: str) -> bool:
    return client.get(reverse("accounts:account"), **headers).status_code == 200  # type: ignore[arg-type]  # WSGI names


@pytest.mark.parametrize(
    ("address", "let_in"), [("10.9.8.7", True), ("10.9.9.7", False), ("127.0.0.1", False), ("::1", False)]
)
def test_the_header_counts_only_from_the_proxy(address: str, *, let_in: bool, settings: Any) -> None:
    settings.HEADER_USER, settings.HEADER_FROM = "Remote-User", ["10.9.8.0/24"]
    user = make.user()
    assert is_in(Client(), HTTP_REMOTE_USER=user.username, REMOTE_ADDR=address) is let_in


def test_without_the_setting_the_header_is_only_a_header() -> None:
    assert not is_in(Client(), HTTP_REMOTE_USER=make.user().username)


def test_the_header_makes_no_account_and_passes_no_second_proof(settings: Any) -> None:
    settings.HEADER_USER, settings.HEADER_FROM = "Remote-User", ["127.0.0.1"]
    assert not is_in(Client(), HTTP_REMOTE_USER="nobody-here")
    user = make.user()
    factors.keep(user, FactorSort.CODES, "", factors.new_secret(), by=make.BY)
    assert not is_in(Client(), HTTP_REMOTE_USER=user.username)
    assert not is_in(Client(), HTTP_REMOTE_USER=make.user(is_active=False).username)


def test_a_device_left_alone_is_signed_out(settings: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    settings.IDLE_MIN = 60
    client = Client()
    client.force_login(make.user(), backend="django.contrib.auth.backends.ModelBackend")
    start = events.now()
    for minutes, still_in in ((0, True), (59, True), (119, True), (180, False)):
        monkeypatch.setattr(events, "now", lambda at=start + timedelta(minutes=minutes): at)
        assert is_in(client) is still_in, minutes


def test_signing_out_elsewhere_ends_the_other_devices_and_not_another_persons() -> None:
    user, other = make.user(), make.user()
    clients = [Client() for _one in range(3)]
    for client, account in zip(clients, (user, user, other), strict=True):
        client.force_login(account, backend="django.contrib.auth.backends.ModelBackend")
        assert is_in(client)
    assert Session.objects.count() == 3
    clients[0].post(reverse("accounts:end_devices"))
    assert [is_in(client) for client in clients] == [True, False, True]


class Provider(BaseHTTPRequestHandler):
    """As much of a provider of OpenID Connect Core 1.0 as the code flow asks for."""

    server: Any

    def log_message(self, *_rest: object) -> None:
        """Say nothing."""

    def _send(self, content: object) -> None:
        body = json.dumps(content).encode()
        self.send_response(200)
        self.send_header("Content-Type", "application/json")
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def do_GET(self) -> None:
        """Answer the metadata and the keys."""
        root = self.server.root
        if self.path.endswith("openid-configuration"):
            self._send({
                "issuer": root, "authorization_endpoint": f"{root}/authorize", "token_endpoint": f"{root}/token",
                "jwks_uri": f"{root}/keys", "id_token_signing_alg_values_supported": ["RS256"],
            })  # fmt: skip
        else:
            self._send({"keys": [KEY.as_dict(private=False)]})

    def do_POST(self) -> None:
        """Answer a code with a token."""
        self.rfile.read(int(self.headers["Content-Length"]))
        now = int(time.time())
        claims = {"iss": self.server.root, "aud": "box", "sub": "1", "iat": now, "exp": now + 60} | self.server.claims
        token = jwt.encode({"alg": "RS256", "kid": "one"}, claims, self.server.key)
        self._send({"access_token": "x", "token_type": "Bearer", "expires_in": 60, "id_token": token})


@pytest.fixture
def provider(settings: Any) -> Iterator[Any]:
    """Run a provider on loopback and let the box trust it."""
    server: Any = ThreadingHTTPServer(("127.0.0.1", 0), Provider)
    server.root, server.claims, server.key = f"http://127.0.0.1:{server.server_port}", {}, KEY
    settings.OIDC_ISSUER, settings.OIDC_CLIENT, settings.OIDC_SECRET = server.root, "box", "secret"
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield server
    server.shutdown()
    server.server_close()
    thread.join(timeout=5)


def through(provider: Any, client: Client, **claims: object) -> Any:
    """Go to the provider and back with these claims."""
    sent = client.get(reverse("accounts:oidc_start"))
    asked = {name: values[0] for name, values in parse_qs(urlsplit(sent.headers["Location"]).query).items()}
    assert sent.headers["Location"].startswith(f"{provider.root}/authorize")
    provider.claims = {"nonce": asked["nonce"]} | claims
    return client.get(reverse("accounts:oidc_back"), {"code": "c", "state": asked["state"]}, follow=True)


def test_whom_a_director_knows_comes_in_through_the_provider(provider: Any) -> None:
    client, user = Client(), make.user()
    through(provider, client, preferred_username=user.username)
    assert is_in(client)


def test_whom_nobody_invited_stays_outside_and_reads_why(provider: Any) -> None:
    client = Client()
    answer = through(provider, client, preferred_username="stranger")
    assert "No account here has that name" in answer.content.decode()
    assert not is_in(client)


@pytest.mark.parametrize(
    "forged", [{"aud": "another-box"}, {"iss": "https://elsewhere.example"}, {"exp": 1}, {"nonce": "old"}]
)
def test_a_token_for_another_box_of_another_issuer_too_old_or_played_back_is_refused(
    provider: Any, forged: dict[str, object]
) -> None:
    """OpenID Connect Core 1.0 section 3.1.3.7, points 2, 3, 9 and 11."""
    client, user = Client(), make.user()
    through(provider, client, preferred_username=user.username, **forged)
    assert not is_in(client)


def test_a_token_signed_by_another_key_is_refused(provider: Any) -> None:
    client, user = Client(), make.user()
    provider.key = OTHER_KEY
    through(provider, client, preferred_username=user.username)
    assert not is_in(client)


def test_the_second_proof_is_asked_here_unless_the_provider_asked_it(provider: Any) -> None:
    user = make.user()
    factors.keep(user, FactorSort.CODES, "", factors.new_secret(), by=make.BY)
    plain, proven = Client(), Client()
    through(provider, plain, preferred_username=user.username, amr=["pwd"])
    through(provider, proven, preferred_username=user.username, amr=["pwd", "otp"])
    assert (is_in(plain), is_in(proven)) == (False, True)


def test_when_the_line_is_down_the_password_door_is_named(settings: Any) -> None:
    settings.OIDC_ISSUER = "http://127.0.0.1:1"
    client = Client()
    answer = client.get(reverse("accounts:oidc_start"), follow=True)
    assert "Sign in with your password here" in answer.content.decode()
    user = make.user()
    client.post(reverse("accounts:login"), {"username": user.username, "password": make.PASSWORD})
    assert is_in(client)
