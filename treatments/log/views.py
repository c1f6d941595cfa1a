"""Pages that change a line of the log, and the blank paper of the same layout."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _

from facility.access import Act, enter
from treatments.compute.log_kinds import KINDS
from treatments.compute.log_values import LogRefusedError
from treatments.log import changing
from treatments.log.forms import CorrectForm, StrikeForm
from treatments.log.paper import LINES, paper_heads
from treatments.log.wording import kind_words, refusal, words_of
from treatments.models import LogEntry, Run, RunPlace

if TYPE_CHECKING:
    from facility.access import Visit

UNPROCESSABLE = 422


def _entry(visit: Visit, pk: int, entry_pk: int) -> LogEntry:
    rows = LogEntry.objects.select_related("run__chamber", "occupant")
    return get_object_or_404(rows, pk=entry_pk, run_id=pk, run__chamber__site=visit.site)


def _context(visit: Visit, row: LogEntry, **more: Any) -> dict[str, Any]:
    return {"visit": visit, "place": "log", "run": row.run, "old": row, "words": words_of(row), **more}


def correct_entry(request: HttpRequest, site: str, pk: int, entry_pk: int) -> HttpResponse:
    """Put a line in the place of a wrong one; the old one stays readable."""
    visit = enter(request, site, Act.LOG)
    row = _entry(visit, pk, entry_pk)
    form = CorrectForm(request.POST or None, old=row)
    if form.is_valid():
        try:
            stored = changing.correct(pk, entry_pk, form.right(), site=visit.site, by=visit.actor)
        except (LogRefusedError, ValidationError) as error:
            form.add_error(None, refusal(error))
        else:
            messages.success(request, _("Corrected. The old line stays, struck through."))
            if stored.alarm:
                messages.error(request, stored.alarm)
            return redirect("treatments:log", site, pk)
    status = UNPROCESSABLE if form.is_bound else 200
    return render(request, "treatments/log/correct.html", _context(visit, row, form=form), status=status)


def strike_entry(request: HttpRequest, site: str, pk: int, entry_pk: int) -> HttpResponse:
    """Strike a line through with its reason. Answers JSON to the screen's own undo."""
    visit = enter(request, site, Act.LOG)
    row = _entry(visit, pk, entry_pk)
    form = StrikeForm(request.POST or None)
    as_json = request.headers.get("Accept", "").startswith("application/json")
    if form.is_valid():
        try:
            changing.strike(pk, entry_pk, form.cleaned_data["reason"], site=visit.site, by=visit.actor)
        except Run.DoesNotExist:
            raise Http404 from None
        except ValidationError as error:
            form.add_error(None, refusal(error))
        else:
            if as_json:
                return JsonResponse({"struck": True, "what": words_of(row)})
            messages.success(request, _("Struck through. The line stays readable."))
            return redirect("treatments:log", site, pk)
    status = UNPROCESSABLE if form.is_bound else 200
    if as_json:
        said = " ".join(str(one) for errors in form.errors.values() for one in errors)
        return JsonResponse({"struck": False, "sentence": said}, status=UNPROCESSABLE)
    return render(request, "treatments/log/strike.html", _context(visit, row, form=form), status=status)


def log_paper(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Show the log as blank paper of the same layout; its code leads to where it is keyed in."""
    import segno  # noqa: PLC0415  # only a printed code needs it; an idle server does not hold it

    visit = enter(request, site)
    run = Run.objects.filter(pk=pk, chamber__site=visit.site).select_related("chamber", "plan").first()
    if run is None:
        raise Http404
    address = request.build_absolute_uri(reverse("treatments:key_paper", args=[site, pk]))
    context = {
        "visit": visit, "place": "log", "run": run, "address": address, "numbers": range(1, LINES + 1),
        "heads": paper_heads(), "kinds": [kind_words(kind) for kind in KINDS],
        "people": list(RunPlace.objects.filter(run=run, retired_at=None, inside=True)),
        "code": segno.make(address, error="m").svg_data_uri(scale=3),
    }  # fmt: skip
    return render(request, "treatments/log/paper.html", context)
