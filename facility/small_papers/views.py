"""The page that lists every paper."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.shortcuts import render
from django.views.decorators.http import require_safe

from facility.access import Act, enter
from facility.small_papers.listing import every

if TYPE_CHECKING:
    from django.http import HttpResponse

    from facility.http import StaffRequest


@require_safe
def papers(request: StaffRequest, site: str) -> HttpResponse:
    """List every paper that there is."""
    visit = enter(request, site, Act.SEE)
    return render(request, "small_papers/papers.html", {"visit": visit, "place": "records", "groups": every(visit)})
