"""A request with a logged-in user, and who acts in it."""

from __future__ import annotations

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
