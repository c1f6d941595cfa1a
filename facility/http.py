"""A request with a logged-in user, and who acts in it."""

from __future__ import annotations

import json
from typing import Any

from django.http import HttpRequest

from facility.events import Actor
from facility.models import User


class StaffRequest(HttpRequest):
    """A request that the login middleware let through."""

    user: User


def actor_of(request: HttpRequest) -> Actor:
    """Return the actor of a signed-in request.

    Errors: TypeError if nobody is signed in; views behind the login never meet it.
    """
    user = request.user
    if not isinstance(user, User):
        raise TypeError("This act needs a signed-in person.")
    return Actor(name=str(user), user_id=user.pk, session=(request.session.session_key or "")[:8])


def json_of(body: bytes | str) -> Any:
    """Return what JSON from outside says.

    Errors: ValueError if it is none, is nested too deeply, or holds half characters, which nothing could store.

    >>> json_of('{"note": "30 bar"}')
    {'note': '30 bar'}
    """
    try:
        told = json.loads(body)
        json.dumps(told, ensure_ascii=False).encode()
    except RecursionError as error:
        raise ValueError("nested too deeply") from error
    return told
