"""Pages of what a run computes: every sum with its formula and source, the same as JSON, and the picture."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.http import HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, render
from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _

from facility import events
from facility.access import enter
from treatments.figures.picture import svg
from treatments.figures.plain import as_plain, as_short
from treatments.figures.recordings import samples_of
from treatments.figures.state import figures_of
from treatments.figures.sums import sums_of
from treatments.figures.table import depth_rows, oxygen_rows, reading_rows
from treatments.models import Run
from treatments.worksheets.common import RUNS

if TYPE_CHECKING:
    from django.http import HttpRequest

    from facility.access import Visit
    from treatments.figures.shape import Figures

WIDEST, NARROWEST = 2400, 320


def _run(visit: Visit, pk: int) -> Run:
    rows = Run.objects.filter(chamber__site=visit.site, retired_at=None)
    return get_object_or_404(rows.select_related("chamber__site", "lock", "plan"), pk=pk)


def drawn(run: Run, found: Figures, width: int = 960, ink: str = "currentColor") -> str:
    """Return the picture of a run with the samples of its newest recorded profile, if it has one."""
    newest = run.profiles.filter(retired_at=None).select_related("evidence").order_by("-id").first()
    samples = () if newest is None else samples_of(newest, found.zone)
    return svg(found, width, samples=samples, ink=ink)


def figures(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Show everything that a run computes, each with inputs, formula, source and caution."""
    visit = enter(request, site)
    run = _run(visit, pk)
    found = figures_of(run, events.now())
    context = {
        "visit": visit, "place": "records" if run.ended_at else "now", "run": run, "found": found,
        "sums": sums_of(found), "picture": mark_safe(drawn(run, found)),  # noqa: S308 - drawn by svg(), which escapes
        "depths": depth_rows(found), "breathing": oxygen_rows(found), "readings": reading_rows(found), "caution": _(RUNS),
    }  # fmt: skip
    return render(request, "treatments/figures/figures.html", context)


def figures_json(request: HttpRequest, site: str, pk: int) -> JsonResponse:
    """Return the same as JSON; with ``?short`` only what the screen of a running log asks for often."""
    visit = enter(request, site)
    found = figures_of(_run(visit, pk), events.now())
    return JsonResponse(as_short(found) if "short" in request.GET else as_plain(found))


def picture(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Return the picture as SVG; ``?width`` in units from 320 to 2 400."""
    visit = enter(request, site)
    run = _run(visit, pk)
    asked = request.GET.get("width", "")
    width = (
        min(WIDEST, max(NARROWEST, int(asked)))
        if asked.isascii() and asked.isdigit() and len(asked) < len("99999")
        else 960
    )
    return HttpResponse(drawn(run, figures_of(run, events.now()), width, "#000"), content_type="image/svg+xml")
