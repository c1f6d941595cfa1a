"""What stands in the place of a page about a chamber while none is recorded."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.shortcuts import render

if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse

    from facility.access import Visit


def no_chamber(request: HttpRequest, visit: Visit, title: str, place: str) -> HttpResponse:
    """Say that there is no chamber yet, and where it is recorded."""
    return render(request, "readiness/no_chamber.html", {"visit": visit, "title": title, "place": place})
