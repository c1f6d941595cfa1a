"""Pages of visits and their findings."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db.models import Count, Q
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from facility import events
from facility.access import Act, Visit, enter
from facility.evidence import accept
from facility.fields import refuse
from facility.history import timeline
from facility.models import FindingAnswer, Inspection, VisitFinding
from facility.visits import services as keeping
from facility.visits.forms import AnswerForm, CloseForm, FindingForm, InspectionForm

if TYPE_CHECKING:
    from datetime import date

    from django.db.models import QuerySet
    from django.http import HttpResponse

    from facility.http import StaffRequest
    from facility.models import Site

UNPROCESSABLE = 422


def context_of(visit: Visit, **more: Any) -> dict[str, Any]:
    """Return what every page of this part is rendered with."""
    return {"visit": visit, "place": "records", "may_keep": visit.may(Act.PACK), **more}


def today_at(visit: Visit) -> date:
    """Return the civil day at the site."""
    return events.now().astimezone(ZoneInfo(visit.site.zone)).date()


def mark_of(finding: VisitFinding, today: date) -> str:
    """Return the mark of a finding: closed, waiting to be closed, waiting for an answer, or late with it."""
    if finding.closed_on is not None:
        return "indate"
    if finding.is_answered:
        return "second"
    return "over" if finding.due_on < today else "due"


def findings_of(site: Site) -> QuerySet[VisitFinding]:
    """Return the findings of all visits to a site, with their visits and answers."""
    rows = VisitFinding.objects.filter(inspection__site=site, retired_at=None).select_related("inspection")
    return rows.prefetch_related("answers__evidence")


def visits(request: StaffRequest, site: str) -> HttpResponse:
    """List the visits, and what is still to be answered, first due first."""
    visit = enter(request, site, Act.SEE)
    today = today_at(visit)
    rows = Inspection.objects.filter(site=visit.site, retired_at=None).annotate(
        found=Count("findings"), open=Count("findings", filter=Q(findings__closed_on=None))
    )
    waiting = findings_of(visit.site).filter(closed_on=None).order_by("due_on", "pk")
    lines = [(mark_of(one, today), one) for one in waiting]
    return render(request, "visits/visits.html", context_of(visit, rows=list(rows), lines=lines, today=today))


def record_visit(request: StaffRequest, site: str) -> HttpResponse:
    """Record a visit."""
    visit = enter(request, site, Act.PACK)
    form = InspectionForm(request.POST or None, instance=Inspection(site=visit.site))
    form.open_at(visit.site)
    if form.is_valid():
        try:
            keeping.record_visit(form.instance, today_at(visit), by=visit.actor)
        except ValidationError as error:
            refuse(form, error)
        else:
            return redirect("visits:visit", site, form.instance.pk)
    return form_page(request, visit, form, _("Record a visit"))


def form_page(request: StaffRequest, visit: Visit, form: Any, title: str) -> HttpResponse:
    """Render one form on a page of its own."""
    status = UNPROCESSABLE if form.is_bound else 200
    return render(request, "visits/form.html", context_of(visit, form=form, title=title), status=status)


def visit_page(request: StaffRequest, site: str, pk: int) -> HttpResponse:
    """Show a visit with its findings; a form adds the next one."""
    visit = enter(request, site, Act.PACK if request.method == "POST" else Act.SEE)
    row = get_object_or_404(Inspection.objects.select_related("pack"), pk=pk, site=visit.site)
    form = FindingForm(request.POST or None, instance=VisitFinding(inspection=row))
    if form.is_valid():
        try:
            keeping.add_finding(form.instance, by=visit.actor)
        except ValidationError as error:
            refuse(form, error)
        else:
            return redirect("visits:visit", site, pk)
    today = today_at(visit)
    lines = [(mark_of(one, today), one) for one in findings_of(visit.site).filter(inspection=row)]
    context = context_of(visit, row=row, lines=lines, form=form, today=today)
    return render(request, "visits/visit.html", context, status=UNPROCESSABLE if form.is_bound else 200)


def finding(request: StaffRequest, site: str, pk: int) -> HttpResponse:
    """Show a finding with its answers; a form adds an answer."""
    visit = enter(request, site, Act.PACK if request.method == "POST" else Act.SEE)
    row = get_object_or_404(VisitFinding.objects.select_related("inspection__site"), pk=pk, inspection__site=visit.site)
    form = AnswerForm(request.POST or None, request.FILES or None, instance=FindingAnswer(finding=row))
    if form.is_valid():
        try:
            if form.cleaned_data["paper"]:
                form.instance.evidence = accept(form.cleaned_data["paper"], site=visit.site, by=visit.actor)
            keeping.answer(form.instance, by=visit.actor)
        except ValidationError as error:
            refuse(form, error)
        else:
            messages.success(request, _("The answer is kept."))
            return redirect("visits:finding", site, pk)
    return _finding_page(request, visit, row, form, CloseForm(initial={"closed_on": today_at(visit)}))


def _finding_page(request: StaffRequest, visit: Visit, row: VisitFinding, form: Any, closing: Any) -> HttpResponse:
    answers = FindingAnswer.objects.filter(finding=row).select_related("evidence").order_by("recorded_at", "pk")
    refused = form.is_bound or closing.is_bound
    context = context_of(
        visit, row=row, answers=list(answers), form=form, closing=closing, mark=mark_of(row, today_at(visit)),
        history=timeline(row, ZoneInfo(visit.site.zone)), refused=refused,
    )  # fmt: skip
    return render(request, "visits/finding.html", context, status=UNPROCESSABLE if refused else 200)


@require_POST
def close_finding(request: StaffRequest, site: str, pk: int) -> HttpResponse:
    """Store that whoever found it took the answer as enough."""
    visit = enter(request, site, Act.PACK)
    row = get_object_or_404(VisitFinding.objects.select_related("inspection__site"), pk=pk, inspection__site=visit.site)
    closing = CloseForm(request.POST)
    if closing.is_valid():
        given = closing.cleaned_data
        try:
            keeping.close(
                row, on=given["closed_on"], closed_by=given["closed_by"], note=given["closed_note"], by=visit.actor
            )
        except ValidationError as error:
            refuse(closing, error)
            row.refresh_from_db()
        else:
            return redirect("visits:finding", site, pk)
    return _finding_page(request, visit, row, AnswerForm(instance=FindingAnswer(finding=row)), closing)
