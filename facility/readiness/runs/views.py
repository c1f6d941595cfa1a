"""Pages that start a run, show it, and end it. A start is never refused for readiness."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from facility import events
from facility.access import Act, Visit, enter
from facility.compute.states import State
from facility.fields import nothing_to_choose, refuse
from facility.history import timeline
from facility.models import Chamber, Check, CheckSheet, CheckState, Occasion
from facility.readiness.runs.forms import EndForm, LeaveForm, StartForm
from facility.readiness.runs.then import then
from facility.readiness.services import Answer, answer_for, evaluate_chamber
from facility.services import ChangedMeanwhileError
from treatments.models import Plan, Run
from treatments.opening.places import alone, places_of, roles_open
from treatments.opening.screening import missing_screenings
from treatments.opening.services import Start, open_run, owes_reason
from treatments.opening.services import end_run as record_end
from treatments.opening.services import leave_surface as record_leaving
from treatments.opening.services import start_run as record_start

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def _context(visit: Visit, **more: Any) -> dict[str, Any]:
    return {"visit": visit, "place": "now", **more}


def start_run(request: HttpRequest, site: str) -> HttpResponse:
    """Show what readiness says of each plan now; open a run, or record that one left surface already."""
    visit = enter(request, site, Act.RUN)
    now = events.now()
    form = StartForm(
        request.POST or None, initial={"supervisor": visit.actor.name, "plan": request.GET.get("plan", "")}
    )
    form.open_at(visit.site, now)
    if form.is_valid():
        try:
            run = _opened(form, visit)
        except ValidationError as error:
            refuse(form, error)
        else:
            on = run.started_at is not None
            words = _("Run %(number)d is on.") if on else _("Run %(number)d is opened. It has not left surface.")
            messages.success(request, words % {"number": run.number})
            return redirect("treatments:run", site, run.pk)
    answers = [
        evaluate_chamber(chamber, now) for chamber in visit.site.chambers.filter(retired_at=None).order_by("key")
    ]
    told = [(answer.chamber, [_told(answer, key) for key in answer.facts.plans]) for answer in answers]
    sheets = [(answer.chamber, before_sheets(answer.chamber)) for answer in answers]
    opened = list(Run.objects.filter(chamber__site=visit.site, ended_at=None, retired_at=None).select_related("plan"))
    context = _context(
        visit,
        form=form,
        lacks=nothing_to_choose(form),
        told=told,
        sheets=sheets,
        now=now,
        opened=opened,
        may_check=visit.may(Act.CHECK),
    )
    return render(request, "treatments/start_run.html", context, status=422 if form.is_bound else 200)


def _opened(form: StartForm, visit: Visit) -> Run:
    """Open a run; one that left surface already keeps the answer of that moment as it was known then."""
    at = form.cleaned_data["at"]
    if at is None:
        return open_run(form.opening(), by=visit.actor)
    plan: Plan = form.cleaned_data["plan"]
    start = Start(at, answer_for(plan.chamber, at), is_ready(plan, at), form.cleaned_data["reason"])
    return record_start(form.opening(), start, by=visit.actor)


def is_ready(plan: Plan, at: datetime) -> bool:
    """Return whether readiness says that a plan may start at ``at``."""
    evaluation = evaluate_chamber(plan.chamber, at).evaluations.get(plan.key)
    return evaluation is not None and evaluation.state in {State.READY, State.READY_WITH_LIMITS}


def leave_surface(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Record that an opened run left surface, with what readiness says of its plan."""
    visit = enter(request, site, Act.RUN)
    row = _run(visit, pk)
    now = events.now()
    form = LeaveForm(request.POST or None, initial={"at": now})
    form.open_at(visit.site, now)
    if form.is_valid():
        typed = form.cleaned_data
        try:
            said = answer_for(row.chamber, typed["at"])
            record_leaving(row, typed["at"], said, is_ready(row.plan, typed["at"]), typed["reason"], visit.actor)
        except ChangedMeanwhileError as error:
            form.add_error(None, error)
        except ValidationError as error:
            refuse(form, error)
        else:
            messages.success(request, _("Run %(number)d is on.") % {"number": row.number})
            return redirect("treatments:run", site, pk)
    answer = evaluate_chamber(row.chamber, now)
    told = [_told(answer, row.plan.key)] if row.plan.key in answer.evaluations else []
    missing = missing_screenings(row)
    context = _context(visit, row=row, form=form, lines=told, missing=missing)
    return render(request, "treatments/leave_surface.html", context, status=422 if form.is_bound else 200)


def _told(answer: Answer, key: str) -> dict[str, Any]:
    """Return what the page says of one plan, its instants in UTC."""
    found = answer.evaluations[key]
    names = answer.names.need_names
    return {
        "plan": answer.names.plans[key][3], "state": found.state, "until": _instant(found.holds_until),
        "from": _instant(found.ready_from), "limiting": [names.get(need, need) for need in found.limiting],
        "in_the_way": [names.get(need, need) for need in found.in_the_way],
    }  # fmt: skip


def _instant(minutes: int | None) -> datetime | None:
    return None if minutes is None else EPOCH + timedelta(minutes=minutes)


def _run(visit: Visit, pk: int) -> Run:
    rows = Run.objects.filter(chamber__site=visit.site)
    return get_object_or_404(rows.select_related("chamber__site", "plan", "lock", "before_check__sheet"), pk=pk)


def run(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Show one run: its times, people and what is missing of them, checks, waits, and what was shown at its start."""
    visit = enter(request, site, Act.SEE)
    row = _run(visit, pk)
    now = events.now()
    people, zone = places_of(row), ZoneInfo(visit.site.zone)
    context = _context(
        visit, row=row, owed=_owed(row), waits=list(row.waits.filter(retired_at=None).select_related("person")),
        before=before_sheets(row.chamber) if row.started_at is None and row.is_current else [],
        people=people, missing=missing_screenings(row), alone=alone(row, people), open_roles=roles_open(people),
        then=then(row.shown, zone, row.started_at) if row.shown and row.started_at else None,
        history=timeline(row, zone), may_run=visit.may(Act.RUN), may_check=visit.may(Act.CHECK),
        may_log=visit.may(Act.LOG), may_patient=visit.may(Act.PATIENT), owes_reason=owes_reason(row), now=now,
    ) | {"place": "records" if row.ended_at or row.retired_at else "now"}  # fmt: skip
    return render(request, "treatments/run.html", context)


def before_sheets(chamber: Chamber) -> list[tuple[CheckSheet, Check | None, Check | None]]:
    """Return each before-run sheet of a chamber with the newest signed check on it and the one under way."""
    sheets = list(CheckSheet.objects.filter(chamber=chamber, occasion=Occasion.BEFORE_RUN, retired_at=None))
    signed: dict[int, Check] = {}
    under_way: dict[int, Check] = {}
    for check in Check.objects.filter(sheet__in=sheets, retired_at=None).order_by("signed_at", "id"):
        if check.state == CheckState.SIGNED:
            signed[check.sheet_id] = check
        elif check.state == CheckState.OPEN:
            under_way[check.sheet_id] = check
    return [(sheet, signed.get(sheet.pk), under_way.get(sheet.pk)) for sheet in sheets]


def _owed(row: Run) -> list[tuple[CheckSheet, Check | None]]:
    """Return each after-run sheet with the first check signed on it since the end; none yet is owed."""
    if row.ended_at is None:
        return []
    sheets = list(CheckSheet.objects.filter(chamber=row.chamber_id, occasion=Occasion.AFTER_RUN, retired_at=None))
    signed: dict[int, Check] = {}
    for check in Check.objects.filter(sheet__in=sheets, state=CheckState.SIGNED, signed_at__gte=row.ended_at).order_by(
        "-signed_at"
    ):
        signed[check.sheet_id] = check
    return [(sheet, signed.get(sheet.pk)) for sheet in sheets]


def end_run(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Record that a run reached surface, and who was inside beside those whom the run knows."""
    visit = enter(request, site, Act.RUN)
    row = _run(visit, pk)
    now = events.now()
    known = [one for one in places_of(row) if one.inside and one.person_id is not None]
    form = EndForm(request.POST or None, initial={"at": now})
    form.open_for(visit.site, now, [one.person_id for one in known if one.person_id is not None])
    if form.is_valid():
        typed = form.cleaned_data
        try:
            record_end(row, typed["at"], visit.actor, typed["inside"])
        except ChangedMeanwhileError as error:
            form.add_error(None, error)
        except ValidationError as error:
            refuse(form, error)
        else:
            messages.success(
                request,
                _("Run %(number)d is over. The after-run check is owed, and the banks are to be read.")
                % {"number": row.number},
            )
            return redirect("treatments:run", site, pk)
    context = _context(visit, row=row, form=form, known=known)
    return render(request, "treatments/end_run.html", context, status=422 if form.is_bound else 200)
