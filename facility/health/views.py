"""Addresses for a monitor. No login, no session, nothing kept by a cache."""

from __future__ import annotations

import secrets
from typing import TYPE_CHECKING

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpResponse, JsonResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from facility import events
from facility.health import exposition
from facility.health.measures import measures
from facility.health.parts import parts

if TYPE_CHECKING:
    from django.http import HttpRequest

UNAVAILABLE = 503


@login_not_required
@require_safe
@never_cache
def alive(request: HttpRequest) -> HttpResponse:
    """Answer that the web server runs; nothing else is asked."""
    return HttpResponse("alive\n", content_type="text/plain; charset=utf-8")


@login_not_required
@require_safe
@never_cache
def ready(request: HttpRequest) -> HttpResponse:
    """Answer with each part; 503 when one is not well."""
    found = parts(events.now())
    fine = all(part.ok for part in found.values())
    content = {"ready": fine, "parts": {name: part.plain() for name, part in sorted(found.items())}}
    return JsonResponse(content, status=200 if fine else UNAVAILABLE)


@login_not_required
@require_safe
@never_cache
def metrics(request: HttpRequest) -> HttpResponse:
    """Answer with numbers to who brings the token; without a token set there is no such address."""
    if not settings.METRICS_TOKEN:
        raise Http404
    word, _space, given = request.headers.get("Authorization", "").partition(" ")
    if word.lower() != "bearer" or not secrets.compare_digest(given.strip().encode(), settings.METRICS_TOKEN.encode()):
        return HttpResponse(
            "Send the header Authorization: Bearer TOKEN with the token of DEEPSTEAD_METRICS_TOKEN.\n",
            status=401, content_type="text/plain; charset=utf-8", headers={"WWW-Authenticate": "Bearer"},
        )  # fmt: skip
    return HttpResponse(exposition.written(measures(events.now())), content_type=exposition.CONTENT_TYPE)
