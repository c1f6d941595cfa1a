"""Pages of recorded profiles: take a file in, say how it is meant, see it beside log and table."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _

from facility import events, services
from facility.access import Act, Visit, enter
from facility.counted import counted
from facility.evidence import keep_text
from facility.models import Evidence
from treatments.compute.instrument import MOST_CELLS, InstrumentError, decoded, guess, rows_of, taken_in
from treatments.figures.picture import svg
from treatments.figures.recordings import samples_of
from treatments.figures.state import figures_of
from treatments.figures.words import departure_words
from treatments.models import RecordedProfile, Run
from treatments.recording.disagreements import beside_log
from treatments.recording.forms import FileForm, LayoutForm, StrikeForm, first_values
from treatments.recording.sentences import lines_about
from treatments.recording.taking import keep, layout_of, look, text_of
from treatments.reference.laws import tolerances

if TYPE_CHECKING:
    from treatments.recording.taking import Look

UNPROCESSABLE = 422
SHOWN_ROWS = 12
MEDIA_TYPE = "text/csv"


def run_of(visit: Visit, pk: int) -> Run:
    """Return a run of the site that left surface. Errors: Http404."""
    rows = Run.objects.filter(chamber__site=visit.site).select_related("chamber__site", "plan")
    return get_object_or_404(rows, pk=pk)


def said(error: InstrumentError) -> str:
    """Return a refusal in the reader's language."""
    return _(error.sentence) % error.values


def take_profile(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Take a file in; then ask how it is meant, with its first rows shown, and store it once that was said."""
    visit = enter(request, site, Act.LOG)
    run = run_of(visit, pk)
    number = request.GET.get("file", "")
    if not number:
        return _take_file(request, visit, run)
    if not number.isdecimal():
        raise Http404
    evidence = get_object_or_404(Evidence, pk=number, site=visit.site, media_type=MEDIA_TYPE)
    return _say_layout(request, visit, run, evidence)


def _take_file(request: HttpRequest, visit: Visit, run: Run) -> HttpResponse:
    form = FileForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        upload = form.cleaned_data["upload"]
        try:
            raw = taken_in(upload.chunks())
            guess(decoded(raw)[0])
        except InstrumentError as error:
            form.add_error("upload", f"“{upload.name}”: {said(error)}")
        else:
            evidence = keep_text(raw, MEDIA_TYPE, upload.name or "profile", site=visit.site, by=visit.actor)
            return redirect(f"{reverse('treatments:take_profile', args=[visit.site.key, run.pk])}?file={evidence.pk}")
    context = {"visit": visit, "place": "log", "run": run, "form": form}
    return render(
        request, "treatments/recording/take_file.html", context, status=UNPROCESSABLE if form.is_bound else 200
    )


def _say_layout(request: HttpRequest, visit: Visit, run: Run, evidence: Evidence) -> HttpResponse:
    try:
        text, encoding = text_of(evidence)
        layout = guess(text)
    except (InstrumentError, ValidationError) as error:
        words = said(error) if isinstance(error, InstrumentError) else " ".join(error.messages)
        return render(
            request, "treatments/recording/gone.html", {"visit": visit, "run": run, "why": words}, status=UNPROCESSABLE
        )
    delimiter = request.POST.get("delimiter", layout.delimiter)
    rows = rows_of(text, delimiter if len(delimiter) == 1 else layout.delimiter, SHOWN_ROWS)
    form = LayoutForm(request.POST or None, initial=first_values(layout), columns=_columns(rows, layout.head_row))
    found: Look | None = None
    if form.is_valid():
        try:
            found = look(run, text, form.layout())
            if "keep" in request.POST:
                row = keep(run, evidence, form.layout(), form.cleaned_data["instrument"], by=visit.actor)
                messages.success(
                    request,
                    _("The record is stored: %(samples)s.")
                    % {
                        "samples": counted(row.samples, "sample", "samples"),
                    },
                )
                return redirect("treatments:profile", visit.site.key, row.pk)
        except InstrumentError as error:
            form.add_error(None, said(error))
        except ValidationError as error:
            form.add_error(None, error)
    context = {
        "visit": visit, "place": "log", "run": run, "form": form, "evidence": evidence, "encoding": encoding, "found": found,
        "rows": [(number, row) for number, row in enumerate(rows, 1)], "findings": lines_about(found.findings) if found else [],
    }  # fmt: skip
    status = UNPROCESSABLE if form.is_bound and form.errors else 200
    return render(request, "treatments/recording/layout.html", context, status=status)


def _columns(rows: list[list[str]], head_row: int) -> list[str]:
    count = min(max((len(row) for row in rows), default=0), MOST_CELLS)
    names = rows[head_row - 1] if 0 < head_row <= len(rows) else []
    return [names[place].strip()[:40] if place < len(names) else "" for place in range(count)]


def profile(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Show a recorded profile: its pieces, what it does not say, and where it differs from log and table."""
    visit = enter(request, site, Act.SEE)
    rows = RecordedProfile.objects.filter(run__chamber__site=visit.site)
    row = get_object_or_404(rows.select_related("run__chamber__site", "run__plan", "evidence"), pk=pk)
    form = StrikeForm(request.POST or None) if visit.may(Act.LOG) and row.is_current else None
    if request.method == "POST":
        enter(request, site, Act.LOG)
        if form is not None and form.is_valid():
            return _strike(request, visit, row, form)
    context: dict[str, Any] = {
        "visit": visit, "place": "log", "row": row, "run": row.run, "form": form, "beside": beside_log(row),
        "findings": lines_about(row.findings), "layout": layout_of(row), "tolerances": tolerances(),
    } | _against(row)  # fmt: skip
    status = UNPROCESSABLE if form is not None and form.is_bound else 200
    return render(request, "treatments/recording/profile.html", context, status=status)


def _against(row: RecordedProfile) -> dict[str, Any]:
    """Return where a record departs from the table, in words (None where it is not laid against one), and its picture."""
    if not row.is_current or row.run.started_at is None:
        return {"departures": None, "picture": ""}
    found = figures_of(row.run, events.now())
    own = next((one for one in found.recorded if one.profile_pk == row.pk), None)
    drawn = svg(found, samples=samples_of(row, found.zone))
    departures = (
        None if own is None or found.plan is None else [(departure_words(one.kind), one) for one in own.deviations]
    )
    return {"departures": departures, "picture": mark_safe(drawn)}  # noqa: S308  # drawn by svg(), which escapes


def _strike(request: HttpRequest, visit: Visit, row: RecordedProfile, form: StrikeForm) -> HttpResponse:
    try:
        services.retire(row, by=visit.actor, reason=form.cleaned_data["reason"], action="recorded profile struck")
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return redirect("treatments:profile", visit.site.key, row.pk)
