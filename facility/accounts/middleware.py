"""What every answer to a signed-in person needs: it is not stored, and a device left alone is signed out."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta

from django.conf import settings
from django.contrib.auth import logout
from django.http import HttpRequest, HttpResponse

from facility import events
from facility.accounts.devices import SEEN

NOTED_EVERY = timedelta(minutes=2)


class NoStoreMiddleware:
    """Mark each page of a signed-in person as not to be stored."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        if getattr(request, "user", None) is not None and request.user.is_authenticated:
            response.headers.setdefault("Cache-Control", "no-store")
        return response


class LeftAloneMiddleware:
    """Sign out a browser that asked for nothing longer than DEEPSTEAD_IDLE_MIN; note every two minutes that it was seen."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.user.is_authenticated:
            self._look_at(request)
        return self.get_response(request)

    def _look_at(self, request: HttpRequest) -> None:
        now = events.now()
        seen = request.session.get(SEEN)
        away = now - datetime.fromisoformat(seen) if seen else timedelta()
        if settings.IDLE_MIN and away > timedelta(minutes=settings.IDLE_MIN):
            logout(request)
        elif settings.IDLE_MIN and (away >= NOTED_EVERY or away < timedelta()):
            request.session[SEEN] = now.isoformat()
