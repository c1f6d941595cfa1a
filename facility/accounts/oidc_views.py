"""Signing in through a provider that speaks OpenID Connect Core 1.0. The password door stays open beside it.

Only an account that a director made is let in: the provider says who somebody is, never what they may do here.
"""

from __future__ import annotations

import logging
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import login
from django.contrib.auth.decorators import login_not_required
from django.http import Http404
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from facility import events
from facility.accounts import factors
from facility.accounts.password_form import PROVEN
from facility.accounts.second_views import wait_for
from facility.models import User

if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse

log = logging.getLogger(__name__)
BACKEND = "django.contrib.auth.backends.ModelBackend"
SECONDS = 10
SECOND_PROOFS = {"mfa", "otp", "hwk", "pop"}
"""Values of the claim amr that tell of more than a password (RFC 8176 section 2)."""


def _client() -> Any:
    from authlib.integrations.django_client import OAuth  # noqa: PLC0415  # megabytes, needed only here

    if not settings.OIDC_ISSUER:
        raise Http404
    registry = OAuth()
    return registry.register(
        "provider", client_id=settings.OIDC_CLIENT, client_secret=settings.OIDC_SECRET,
        server_metadata_url=f"{settings.OIDC_ISSUER.rstrip('/')}/.well-known/openid-configuration",
        client_kwargs={"scope": "openid profile", "timeout": SECONDS, "code_challenge_method": "S256"},
    )  # fmt: skip


@login_not_required
@require_safe
@never_cache
def start(request: HttpRequest) -> HttpResponse:
    """Send the browser to the provider."""
    try:
        answer: HttpResponse = _client().authorize_redirect(
            request, request.build_absolute_uri(reverse("accounts:oidc_back"))
        )
    except Http404:
        raise
    except Exception:  # whatever the line or the provider does, the other door is open
        log.warning("The sign-in provider does not answer.", exc_info=True)
        messages.error(request, _("The sign-in provider does not answer. Sign in with your password here."))
        return redirect("accounts:login")
    return answer


@login_not_required
@require_safe
@never_cache
def back(request: HttpRequest) -> HttpResponse:
    """Take what the provider says, and let in whom a director knows."""
    try:
        claims = _client().authorize_access_token(request)["userinfo"]
    except Http404:
        raise
    except Exception:  # a forged, old or broken answer is refused whatever it is
        log.warning("The answer of the sign-in provider was refused.", exc_info=True)
        messages.error(request, _("The answer of the sign-in provider was not taken. Sign in again."))
        return redirect("accounts:login")
    name = str(claims.get(settings.OIDC_CLAIM, ""))
    user = User.objects.filter(username=name, is_active=True).first() if name else None
    if user is None:
        messages.error(
            request, _("The provider says that you are “%(name)s”. No account here has that name: ask the director.") % {"name": name or "?"}
        )  # fmt: skip
        return redirect("accounts:login")
    return _let_in(request, user, set(claims.get("amr") or ()))


def _let_in(request: HttpRequest, user: User, methods: set[str]) -> HttpResponse:
    proven = bool(methods & SECOND_PROOFS)
    if not proven and factors.asked_of(user):
        return wait_for(request, user, "/")
    login(request, user, backend=BACKEND)
    if proven:
        request.session[PROVEN] = events.now().isoformat()
    return redirect("readiness:home")
