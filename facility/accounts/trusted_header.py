"""Signing in by a header that a reverse proxy in front of the box sets. Off unless both settings are given.

The header counts only from the addresses of DEEPSTEAD_HEADER_FROM, and only for an account that is there.
"""

from __future__ import annotations

from collections.abc import Callable

from django.conf import settings
from django.contrib.auth import login
from django.http import HttpRequest, HttpResponse

from facility.accounts import factors
from facility.accounts.proxies import PEER, is_one_of
from facility.models import User

BACKEND = "django.contrib.auth.backends.ModelBackend"


class TrustedHeaderMiddleware:
    """Let in whom a proxy that we trust names; an account with a second proof goes through the usual door."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if settings.HEADER_USER and not request.user.is_authenticated:
            name = request.headers.get(settings.HEADER_USER, "").strip()
            if name and is_trusted(request.META.get(PEER, request.META.get("REMOTE_ADDR", ""))):
                user = User.objects.filter(username=name, is_active=True).first()
                if user is not None and not factors.asked_of(user):
                    login(request, user, backend=BACKEND)
        return self.get_response(request)


def is_trusted(address: str) -> bool:
    """Return whether a request from ``address`` may name somebody."""
    return is_one_of(address, settings.HEADER_FROM)
