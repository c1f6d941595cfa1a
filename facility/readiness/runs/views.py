"""Pages that start a run, show it, and end it. A start is never refused for readiness."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from facility import events
from facility.access import Act, Visit, enter
from facility.compute.states import State
from facility.history import timeline
from facility.models import Check, CheckSheet, CheckState, Occasion
from facility.readiness.runs.forms import EndForm, StartForm
from facility.readiness.services import Answer, answer_for, evaluate_chamber
from facility.services import ChangedMeanwhileError
from treatments.models import Plan, Run
from treatments.opening.services import Start
from treatments.opening.services import end_run as record_end
from treatments.opening.services import start_run as record_start

if TYPE_CHECKING:
    from django import forms


EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def _context(visit: Visit, **more: Any) -> dict[str, Any]:
    return {"visit": visit, "place": "now", **more}


def _refuse(form: forms.BaseForm, error: ValidationError) -> None:
    if not hasattr(error, "error_dict"):
        form.add_error(None, error)
        return
    for name, found in error.error_dict.items():
        form.add_error(name if name in form.fields else None, [text for one in found for text in one.messages])


def start_run(request: HttpRequest, site: str) -> HttpResponse:
    """Show what readiness says of each plan now, and record that a run left surface."""
    visit = enter(request, site, Act.RUN)
    now = events.now()
    initial = {"at": now, "supervisor": visit.actor.name, "plan": request.GET.get("plan", "")}
    form = StartForm(request.POST or None, initial=initial)
    form.open_at(visit.site, now)
    if form.is_valid():
        try:
            run = _record_start(form, visit, now)
        except ValidationError as error:
            _refuse(form, error)
        else:
            messages.success(request, _("Run %(number)d is on.") % {"number": run.number})
            return redirect("treatments:run", site, run.pk)
    answers = [
        evaluate_chamber(chamber, now) for chamber in visit.site.chambers.filter(retired_at=None).order_by("key")
    ]
    told = [(answer.chamber, [_told(answer, key) for key in answer.facts.plans]) for answer in answers]
    context = _context(visit, form=form, told=told)
    return render(request, "treatments/start_run.html", context, status=422 if form.is_bound else 200)


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


def _record_start(form: StartForm, visit: Visit, now: datetime) -> Run:
    """Keep the answer of the moment at which the chamber left surface as it was known then."""
    typed = form.cleaned_data
    plan: Plan = typed["plan"]
    evaluation = evaluate_chamber(plan.chamber, typed["at"]).evaluations.get(plan.key)
    ready = evaluation is not None and evaluation.state in {State.READY, State.READY_WITH_LIMITS}
    start = Start(
        plan,
        typed["purpose"],
        typed["supervisor"],
        typed["at"],
        answer_for(plan.chamber, typed["at"]),
        ready,
        typed["reason"],
    )
    return record_start(start, by=visit.actor)


def _run(visit: Visit, pk: int) -> Run:
    rows = Run.objects.filter(chamber__site=visit.site).select_related("chamber", "plan", "before_check__sheet")
    return get_object_or_404(rows, pk=pk)


def run(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Show one run: its times, what was shown at its start, who waits, and the after-run check it owes."""
    visit = enter(request, site, Act.SEE)
    row = _run(visit, pk)
    context = _context(
        visit, row=row, owed=_owed(row), waits=list(row.waits.filter(retired_at=None).select_related("person")),
        history=timeline(row, ZoneInfo(visit.site.zone)), may_run=visit.may(Act.RUN), may_check=visit.may(Act.CHECK), now=events.now(),
    ) | {"place": "records" if row.ended_at else "now"}  # fmt: skip
    return render(request, "treatments/run.html", context)


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
    """Record that a run reached surface, and who was inside."""
    visit = enter(request, site, Act.RUN)
    row = _run(visit, pk)
    now = events.now()
    form = EndForm(request.POST or None, initial={"at": now})
    form.open_at(visit.site, now)
    if form.is_valid():
        typed = form.cleaned_data
        try:
            record_end(row, typed["at"], visit.actor, typed["inside"])
        except ChangedMeanwhileError as error:
            form.add_error(None, error)
        except ValidationError as error:
            _refuse(form, error)
        else:
            messages.success(
                request,
                _("Run %(number)d is over. The after-run check is owed, and the banks are to be read.")
                % {"number": row.number},
            )
            return redirect("treatments:run", site, pk)
    context = _context(visit, row=row, form=form)
    return render(request, "treatments/end_run.html", context, status=422 if form.is_bound else 200)
