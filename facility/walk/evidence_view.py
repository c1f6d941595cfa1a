"""Handing out stored files, to those who may see the site."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404

from facility.access import enter
from facility.evidence import read_back, served_name
from facility.models import Evidence
from facility.walk.words import refusal

if TYPE_CHECKING:
    from django.http import HttpRequest

GONE = 410


def evidence(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Send one file as an attachment under our own name; the browser may neither guess its type nor run it."""
    visit = enter(request, site)
    found = get_object_or_404(Evidence, pk=pk, site=visit.site)
    try:
        content = read_back(found)
    except ValidationError as error:
        return HttpResponse(refusal(error), status=GONE, content_type="text/plain; charset=utf-8")
    response = HttpResponse(content, content_type=found.media_type)
    response["Content-Disposition"] = f'attachment; filename="{served_name(found)}"'
    response["X-Content-Type-Options"] = "nosniff"
    response["Content-Security-Policy"] = "default-src 'none'; sandbox"
    return response
