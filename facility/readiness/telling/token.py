"""The read-only token: a program asks for answers without an account. It reads answers of every site, and nothing else.

Without DEEPSTEAD_API_TOKEN no token is taken. An account may ask the same addresses; nothing behind them is stored,
so they need no token against forged forms.
"""

from __future__ import annotations

import secrets
from functools import wraps
from typing import TYPE_CHECKING

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.views import redirect_to_login
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt

from facility.access import enter
from facility.models import Site, User

if TYPE_CHECKING:
    from collections.abc import Callable

    View = Callable[..., HttpResponse]

SHORTEST = 20
UNAUTHORISED = 401


def token_or_account(view: View) -> View:
    """Let in who brings the token, or an account with a role at the site; ``view`` gets the request and the site."""

    @login_not_required
    @csrf_exempt
    @never_cache
    @wraps(view)
    def guarded(request: HttpRequest, site: str) -> HttpResponse:
        if "Authorization" in request.headers:
            return view(request, site=_site(site)) if _right(request) else _refused()
        if not isinstance(request.user, User):
            return redirect_to_login(request.get_full_path())
        return view(request, site=enter(request, site).site)

    return guarded


def token_or_signed_in(view: View) -> View:
    """Let in who brings the token, or any account; ``view`` gets the request and the account, None with the token."""

    @login_not_required
    @csrf_exempt
    @never_cache
    @wraps(view)
    def guarded(request: HttpRequest) -> HttpResponse:
        if "Authorization" in request.headers:
            return view(request, user=None) if _right(request) else _refused()
        if not isinstance(request.user, User):
            return redirect_to_login(request.get_full_path())
        return view(request, user=request.user)

    return guarded


def _site(key: str) -> Site:
    found = Site.objects.filter(key=key, retired_at=None).first()
    if found is None:
        raise Http404
    return found


def _right(request: HttpRequest) -> bool:
    """Return whether the header carries the token that is set; one that is too short to be secret counts as none."""
    word, _space, given = request.headers["Authorization"].partition(" ")
    token = settings.API_TOKEN
    fits = secrets.compare_digest(given.strip().encode(), token.encode())
    return fits and word.lower() == "bearer" and len(token) >= SHORTEST


def _refused() -> JsonResponse:
    text = _(
        "Send the header Authorization: Bearer TOKEN with the token of DEEPSTEAD_API_TOKEN, at least %(n)d characters."
    )
    return JsonResponse(
        {"error": text % {"n": SHORTEST}}, status=UNAUTHORISED, headers={"WWW-Authenticate": "Bearer"},
    )  # fmt: skip
