"""A site with two directors, and what one types into the editor of tables."""

from __future__ import annotations

from typing import Any

from django.test import Client

from facility.events import Actor
from facility.models import Site, User
from tests import make


def actor(user: User) -> Actor:
    """Return who acts when this account does."""
    return Actor(name=str(user), user_id=user.pk, role="director")


def director(at: Site, first: str = "Ina", last: str = "Berg") -> User:
    """Return a director of a site."""
    return make.user(at, "director", first_name=first, last_name=last)


def signed_in(user: User) -> Client:
    """Return a client in which ``user`` is signed in."""
    client = Client()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return client


#: a short table of the house: 10 min on oxygen at 33 fsw, then up
PARTS: dict[str, Any] = {
    "title": "House oxygen", "body": "this site", "revision": "1", "stop_time_begins": "arrival",
    "descent": {"to": 33, "rate": 11, "gas": "AIR"},
    "segments": [[33, 33, 30, "O2"], [33, 33, 5, "AIR"], [33, 33, 30, "O2"], [33, 0, 11, "O2"]],
    "extensions": [{"depth": 33, "segments": [[33, 33, 5, "AIR"], [33, 33, 30, "O2"]], "allowed": 1}],
    "total": 76,
}  # fmt: skip

ROWS = [("33", "33", "30", "O2"), ("33", "33", "5", "AIR"), ("33", "33", "30", "O2"), ("33", "0", "11", "O2")]


def typed(rows: list[tuple[str, str, str, str]] = ROWS, **more: str) -> dict[str, str]:
    """Return what is posted from the editor."""
    data = {
        "key": "house-oxygen", "title": "House oxygen", "body": "this site", "revision": "1", "source": "house book, page 3",
        "clock": "arrival", "descent_to": "33", "descent_rate": "11", "descent_gas": "AIR", "total": "76",
        "row-TOTAL_FORMS": str(len(rows) + 1), "row-INITIAL_FORMS": "0",
        "extension-TOTAL_FORMS": "1", "extension-INITIAL_FORMS": "0",
        "extension-0-depth": "33", "extension-0-allowed": "1", "extension-0-minutes_1": "5", "extension-0-gas_1": "AIR",
        "extension-0-minutes_2": "30", "extension-0-gas_2": "O2",
    }  # fmt: skip
    for place, row in enumerate(rows):
        data |= {
            f"row-{place}-{name}": value for name, value in zip(("start", "end", "minutes", "gas"), row, strict=True)
        }
    return data | more
