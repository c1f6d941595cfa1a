"""The log of a run: the screen, one entry, what others watch, and taking over the writing.

These stand on the readiness floor, because "left surface" keeps what readiness said at that moment.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db.models import Count, Max, Q
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from facility import events, house
from facility.access import Act, enter
from facility.compute.states import State
from facility.readiness.runs import log_given
from facility.readiness.services import answer_for, evaluate_chamber
from facility.services import ChangedMeanwhileError
from treatments.compute.log_values import LogDoubtError, LogRefusedError
from treatments.figures.state import figures_of
from treatments.log import screen, state
from treatments.log.reading import all_of, in_order, lines_of
from treatments.log.services import Surface, add_entry, happened
from treatments.log.wording import refusal, words_of
from treatments.log.writer import take_over as hand_over
from treatments.models import LogEntry, LogKind, Run, RunPlace

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from facility.access import Visit
    from treatments.log.services import Stored

NOT_CHANGED, CONFLICT, UNPROCESSABLE = 304, 409, 422
GAUGE = "fsw"


def run_of(visit: Visit, pk: int) -> Run:
    """Return a run of the site. Errors: Http404."""
    run = Run.objects.filter(pk=pk, chamber__site=visit.site).select_related("chamber", "plan", "lock").first()
    if run is None:
        raise Http404
    run.chamber.site = visit.site
    return run


def surface_of(run: Run, at: datetime, reason: str) -> Surface:
    """Return what readiness says of the plan of a run at an instant. It never holds a start back."""
    evaluation = evaluate_chamber(run.chamber, at).evaluations.get(run.plan.key)
    ready = evaluation is not None and evaluation.state in {State.READY, State.READY_WITH_LIMITS}
    return Surface(answer_for(run.chamber, at), ready, reason)


def log(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Show the log of a run: one screen to write it and to watch it."""
    visit = enter(request, site)
    run = run_of(visit, pk)
    rows = all_of(run)
    shown = _shown(visit, run, rows)
    context = {
        "visit": visit, "place": "log", "run": run, "lines": lines_of(run, rows), "data": json.dumps(shown),
        "may_log": visit.may(Act.LOG), "table": shown["table"], "groups": shown["groups"],
    }  # fmt: skip
    return render(request, "treatments/log/screen.html", context)


def _shown(visit: Visit, run: Run, rows: Sequence[LogEntry]) -> dict[str, Any]:
    """Return all that the screen's script knows."""
    places = _places(run)

    def address(name: str, *more: int) -> str:
        return reverse(f"treatments:{name}", args=[visit.site.key, run.pk, *more])

    return {
        "run": run.pk, "by": visit.actor.user_id, "may": visit.may(Act.LOG), "zone": visit.site.zone,
        "now": state.instant(events.now()), "unit": run.lock.gauge_unit if run.lock else GAUGE,
        "state": _state(visit, run, rows, places), "kinds": screen.kinds(), "groups": screen.groups(),
        "words": screen.words(), "depths": screen.units_of_depth(), "table": screen.table_words(run),
        "urls": {
            "entry": address("log_entry"), "since": address("log_since"), "take": address("take_over"),
            "strike": address("strike_entry", 0), "defect": reverse("maintenance:raise_defect", args=[visit.site.key]),
            "near_miss": reverse("treatments:report_near_miss", args=[visit.site.key]),
        },
    }  # fmt: skip


def _places(run: Run) -> list[RunPlace]:
    """Return everybody who was ever named in a run, those taken off too."""
    return list(RunPlace.objects.filter(run=run).order_by("pk"))


def _state(visit: Visit, run: Run, rows: Sequence[LogEntry], places: Sequence[RunPlace]) -> dict[str, Any]:
    every_min = int(house.values(visit.site)["reading_every_min"])
    return state.state_of(run, in_order(rows), [place for place in places if place.is_current], every_min)


def _tag(run: Run) -> str:
    """Return what changes whenever the log, its people or its writer do, without reading the rows."""
    gone = Count("pk", filter=Q(retired_at__isnull=False))
    log = LogEntry.objects.filter(run=run).aggregate(last=Max("pk"), gone=gone)
    people = RunPlace.objects.filter(run=run).aggregate(last=Max("pk"), gone=gone)
    parts = (log["last"], log["gone"], people["last"], people["gone"], run.row_version)
    return ".".join(str(one or 0) for one in parts)


def _moved_plan(run: Run, now: datetime) -> list[dict[str, Any]] | None:
    """Return what is due by the plan as moved by the whole log; None where the figures cannot be had of such a log."""
    try:
        found = figures_of(run, now)
    except ValueError:
        return None
    if found.plan is None or run.ended_at is not None:
        return None
    return [
        {"at": state.instant(one.at), "what": ": ".join(filter(None, [", ".join(one.who), one.what])),
         "depth_fsw": one.depth_fsw}
        for one in found.events if one.at > now
    ]  # fmt: skip


@require_GET
def log_since(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Answer a watcher: 304 while nothing changed, else the whole log and how the run stands."""
    visit = enter(request, site)
    run = run_of(visit, pk)
    tag = _tag(run)
    if request.headers.get("If-None-Match") == f'"{tag}"':
        answer: HttpResponse = HttpResponse(status=NOT_CHANGED)
    else:
        rows = all_of(run)
        context = {"visit": visit, "run": run, "lines": lines_of(run, rows), "may_log": visit.may(Act.LOG)}
        with timezone.override(ZoneInfo(visit.site.zone)):
            html = render_to_string("treatments/log/lines.html", context, request)
        stands = _state(visit, run, rows, _places(run))
        moved = _moved_plan(run, events.now())
        stands |= {} if moved is None else {"ahead": moved}
        answer = JsonResponse({"tag": tag, "html": html, "state": stands})
    answer["ETag"] = f'"{tag}"'
    answer["X-Facility-Time"] = state.instant(events.now())
    return answer


@require_POST
def log_entry(request: HttpRequest, site: str, pk: int) -> JsonResponse:
    """Store one entry and say so at once; what is asked about comes back with 409, a refusal with 422."""
    visit = enter(request, site, Act.LOG)
    try:
        return _said(_stored(request, visit, pk))
    except Run.DoesNotExist:
        raise Http404 from None
    except LogDoubtError as error:
        return JsonResponse({"stored": False, "ask": True, "sentence": refusal(error)}, status=CONFLICT)
    except (LogRefusedError, ValidationError) as error:
        return JsonResponse({"stored": False, "ask": False, "sentence": refusal(error)}, status=UNPROCESSABLE)


def _stored(request: HttpRequest, visit: Visit, pk: int) -> Stored:
    form, values = log_given.read(request)
    meant_for = form.cleaned_data["by"]
    if meant_for is not None and meant_for != visit.actor.user_id:
        raise ValidationError(
            _("This was entered by another account on this device. Only that account can send it."), code="other"
        )
    given = log_given.given_of(form, values)
    if given.kind == LogKind.LEFT_SURFACE:
        run = run_of(visit, pk)
        at = happened(given, visit.site, events.now())
        given = log_given.given_of(form, values, surface_of(run, at, given.reason))
    return add_entry(pk, given, site=visit.site, by=visit.actor)


def _said(stored: Stored) -> JsonResponse:
    return JsonResponse({
        "stored": True, "repeat": stored.repeat, "entry": stored.event, "pk": stored.entry.pk,
        "what": words_of(stored.entry), "alarm": stored.alarm, "late": stored.entry.late,
    })  # fmt: skip


@require_POST
def take_over(request: HttpRequest, site: str, pk: int) -> JsonResponse:
    """Let the asking device write the log from now on."""
    visit = enter(request, site, Act.LOG)
    device = request.headers.get("X-Device", "").strip()
    if not device:
        sentence = _("This browser has no name of its own for this device. Load the page again.")
        return JsonResponse({"taken": False, "sentence": sentence}, status=UNPROCESSABLE)
    run = run_of(visit, pk)
    try:
        hand_over(run, device, by=visit.actor)
    except ChangedMeanwhileError:
        return JsonResponse(
            {"taken": False, "sentence": _("The run changed meanwhile. Try once more.")}, status=CONFLICT
        )
    return JsonResponse({"taken": True, "writer": run.writer})
