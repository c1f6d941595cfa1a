"""Where an account is signed in, and ending that."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from django.contrib.auth import SESSION_KEY, user_logged_in
from django.contrib.sessions.models import Session
from django.db import transaction
from django.dispatch import receiver

from facility import events
from facility.events import What

if TYPE_CHECKING:
    from collections.abc import Iterator

    from django.http import HttpRequest

    from facility.events import Actor
    from facility.models import User

LONGEST_AGENT = 120
BEGAN, SEEN, AGENT = "began_at", "seen_at", "agent"


@receiver(user_logged_in)
def begin(sender: object, request: HttpRequest, **_more: object) -> None:
    """Note in the new session when it began and in what; the session is stored with the sign-in anyway."""
    now = events.now().isoformat()
    request.session[BEGAN] = request.session[SEEN] = now
    request.session[AGENT] = request.headers.get("User-Agent", "")[:LONGEST_AGENT]


@dataclass(frozen=True, slots=True)
class Device:
    """One browser in which the account is signed in."""

    began_at: datetime | None
    seen_at: datetime | None
    agent: str
    here: bool


def _sessions(user: User) -> Iterator[tuple[Session, dict[str, str]]]:
    for row in Session.objects.filter(expire_date__gt=events.now()).iterator(chunk_size=200):
        content = row.get_decoded()
        if content.get(SESSION_KEY) == str(user.pk):
            yield row, content


def of(user: User, here: str | None) -> list[Device]:
    """Return the devices of an account, the newest first; this one is marked."""
    found = [
        Device(
            _instant(content.get(BEGAN)), _instant(content.get(SEEN)), content.get(AGENT, ""), row.session_key == here
        )
        for row, content in _sessions(user)
    ]
    return sorted(found, key=lambda one: (one.here, str(one.seen_at or "")), reverse=True)


def _instant(text: str | None) -> datetime | None:
    return None if text is None else datetime.fromisoformat(text)


@transaction.atomic
def end_others(user: User, here: str | None, *, by: Actor) -> int:
    """Sign an account out everywhere but here. Return how many devices that were."""
    keys = [row.session_key for row, _content in _sessions(user) if row.session_key != here]
    Session.objects.filter(session_key__in=keys).delete()
    if keys:
        what = What("account:signed out elsewhere", after={"username": user.username, "devices": str(len(keys))})
        events.record(None, what, by=by)
    return len(keys)
