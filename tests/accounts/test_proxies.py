"""Who asks, behind proxies: X-Forwarded-For counts only from those that are named, and only as far as they vouch for it."""

from __future__ import annotations

from typing import Any

import pytest
from django.conf import settings as current
from django.test import Client
from django.urls import reverse

from facility.accounts import proxies
from facility.feeds import views
from facility.project import env
from tests import make

PROXY, INNER, ASKER, OTHER = "127.0.0.1", "10.0.0.2", "192.0.2.7", "198.51.100.9"  # the last two: RFC 5737, documents


@pytest.mark.parametrize(
    ("peer", "told", "found"),
    [
        (PROXY, ASKER, ASKER),
        (PROXY, "", PROXY),
        (OTHER, ASKER, OTHER),  # no proxy of ours: anybody can write a header
        (PROXY, f"1.2.3.4, {ASKER}", ASKER),  # what stands before it came from the browser
        (PROXY, f"{ASKER}, {INNER}", ASKER),
        (PROXY, f"{OTHER}, {ASKER}, {INNER}", ASKER),
        (PROXY, f"{ASKER}, unknown", PROXY),
        (PROXY, f"{ASKER}:5123", ASKER),
        (PROXY, "[2001:db8::7]:443", "2001:db8::7"),
        (f"::ffff:{PROXY}", ASKER, ASKER),
        (PROXY, ", ".join([ASKER] + [INNER] * 300), INNER),
    ],
)
def test_the_nearest_address_that_is_no_proxy_counts(peer: str, told: str, found: str, settings: Any) -> None:
    """Source for the order of the entries: RFC 7239, section 5.2 and 7.4, of X-Forwarded-For as of Forwarded."""
    settings.TRUSTED_PROXIES = [PROXY, "10.0.0.0/24"]
    assert proxies.client_of(peer, told) == found


def test_nobody_is_trusted_until_somebody_is_named() -> None:
    assert current.TRUSTED_PROXIES == []


@pytest.mark.django_db
def test_behind_a_proxy_that_is_named_each_asker_has_limits_of_their_own(settings: Any) -> None:
    page = "/calendar/guess.ics"
    for trusted, second in (([], 429), ([PROXY], 404)):
        settings.TRUSTED_PROXIES = trusted
        for _ in range(views.MOST + 1):
            last = Client().get(page, HTTP_X_FORWARDED_FOR=ASKER)
        assert last.status_code == 429
        assert Client().get(page, HTTP_X_FORWARDED_FOR=OTHER).status_code == second


@pytest.mark.django_db
def test_wrong_passwords_of_one_asker_lock_the_name_for_them_alone(settings: Any) -> None:
    settings.TRUSTED_PROXIES = [PROXY]
    user, page = make.user(), reverse("accounts:login")
    for _ in range(settings.AXES_FAILURE_LIMIT):
        Client().post(page, {"username": user.username, "password": "wrong"}, HTTP_X_FORWARDED_FOR=ASKER)
    right = {"username": user.username, "password": make.PASSWORD}
    assert Client().post(page, right, HTTP_X_FORWARDED_FOR=ASKER).status_code in (403, 429)
    assert Client().post(page, right, HTTP_X_FORWARDED_FOR=OTHER).status_code == 302


@pytest.mark.django_db
def test_a_proxy_that_names_the_person_is_known_by_its_own_address(settings: Any) -> None:
    settings.TRUSTED_PROXIES = settings.HEADER_FROM = [PROXY]
    settings.HEADER_USER = "Remote-User"
    user, page = make.user(), reverse("accounts:account")
    assert Client().get(page, HTTP_REMOTE_USER=user.username, HTTP_X_FORWARDED_FOR=ASKER).status_code == 200
    claimed = Client(REMOTE_ADDR=OTHER).get(page, HTTP_REMOTE_USER=user.username, HTTP_X_FORWARDED_FOR=PROXY)
    assert claimed.status_code == 302


@pytest.mark.parametrize(
    ("raw", "said"), [("proxy.lan", "is no address"), ("0.0.0.0/0", "is every address"), ("::/0", "every")]
)
def test_what_names_no_proxy_or_everybody_is_refused_at_the_start(
    raw: str, said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("DEEPSTEAD_TRIED", f"127.0.0.1, {raw}")
    with pytest.raises(env.EnvError, match=said):
        env.networks("DEEPSTEAD_TRIED")
