"""Pages of near misses and of frozen records."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from facility import events
from facility.access import Act, Visit, enter
from facility.compute.csv_writing import csv_text
from facility.fields import refuse
from facility.http import actor_of
from facility.models import Site, User
from treatments.models import Freeze, NearMiss
from treatments.reporting import freezing, near_misses
from treatments.reporting.forms import ActionForm, FreezeForm, NearMissForm

if TYPE_CHECKING:
    from django import forms

UNPROCESSABLE, TOO_MANY = 422, 429


def _context(visit: Visit, **more: Any) -> dict[str, Any]:
    return {"visit": visit, "place": "records", **more}


@login_not_required
def report(request: HttpRequest, site: str) -> HttpResponse:
    """Take a near miss from anybody on the network. Signed in and with a name given, it is theirs; else nameless."""
    at = Site.objects.filter(key=site, retired_at=None).first()
    if at is None:
        raise Http404
    form = NearMissForm(request.POST or None, instance=NearMiss(site=at))
    form.open_on(events.now().astimezone(ZoneInfo(at.zone)).date())
    status = UNPROCESSABLE if form.is_bound else 200
    if form.is_valid():
        signed_in = isinstance(request.user, User) and bool(form.cleaned_data["reporter"].strip())
        try:
            found = near_misses.report(form.instance, by=actor_of(request) if signed_in else None)
        except near_misses.TooManyError as error:
            refuse(form, error)
            status = TOO_MANY
        except ValidationError as error:
            refuse(form, error)
        else:
            return render(request, "treatments/reporting/thanks.html", {"at": at, "found": found}, status=201)
    return render(request, "treatments/reporting/report.html", {"at": at, "form": form}, status=status)


def every(request: HttpRequest, site: str) -> HttpResponse:
    """List the near misses of a site; as=csv hands them out without names and days."""
    visit = enter(request, site, Act.SEE)
    rows = list(near_misses.of_site(visit.site))
    if request.GET.get("as") == "csv":
        return _without_names(rows, visit.site)
    return render(request, "treatments/reporting/near_misses.html", _context(visit, rows=rows))


def _without_names(rows: list[NearMiss], site: Site) -> HttpResponse:
    """Return number, year and texts. Free text is as people wrote it: whoever passes it on reads it first."""
    head = ["number", "year", "what", "could_have", "actions", "closed"]
    zone = ZoneInfo(site.zone)
    lines = [
        (
            row.number, (row.happened_on or row.recorded_at.astimezone(zone).date()).year, row.what, row.could_have,
            "; ".join(action.what for action in row.actions.all()),
            "yes" if any(action.closes for action in row.actions.all()) else "no",
        )
        for row in rows
    ]  # fmt: skip
    answer = HttpResponse(csv_text(head, lines), content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = 'attachment; filename="near-misses.csv"'
    return answer


def near_miss(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Show one near miss and what was done about it; a supervisor adds an action. Nothing here deletes."""
    visit = enter(request, site, Act.SEE)
    row = get_object_or_404(near_misses.of_site(visit.site), pk=pk)
    may_act = visit.may(Act.SIGN)
    form = ActionForm(request.POST or None, initial={"by_whom": visit.actor.name}) if may_act else None
    if request.method == "POST":
        visit = enter(request, site, Act.SIGN)
        if form is not None and form.is_valid():
            try:
                near_misses.act_on(row, form.instance, by=visit.actor)
            except ValidationError as error:
                refuse(form, error)
            else:
                messages.success(request, _("Kept with near miss %(number)d.") % {"number": row.number})
                return redirect("treatments:near_miss", site, pk)
    closed = any(action.closes for action in row.actions.all())
    context = _context(visit, row=row, form=form, closed=closed)
    return render(
        request, "treatments/reporting/near_miss.html", context, status=UNPROCESSABLE if _bound(form) else 200
    )


def _bound(form: forms.BaseForm | None) -> bool:
    return form is not None and form.is_bound


def freezes(request: HttpRequest, site: str) -> HttpResponse:
    """List what was frozen."""
    visit = enter(request, site, Act.SEE)
    rows = Freeze.objects.filter(site=visit.site).select_related("run")
    context = _context(visit, rows=list(rows), may_freeze=visit.may(Act.SIGN))
    return render(request, "treatments/reporting/freezes.html", context)


def freeze(request: HttpRequest, site: str) -> HttpResponse:
    """Keep and sign every record around an event."""
    visit = enter(request, site, Act.SIGN)
    form = FreezeForm(request.POST or None, request=request, initial={"event_at": events.now()})
    form.open_at(visit.site)
    if form.is_valid():
        typed = form.cleaned_data
        wanted = Freeze(site=visit.site, event_at=typed["event_at"], why=typed["why"])
        try:
            frozen = freezing.freeze(wanted, by=visit.actor)
        except ValidationError as error:
            refuse(form, error)
        else:
            messages.success(request, _("Every record around the event is kept and signed."))
            return redirect("treatments:frozen", site, frozen.pk)
    context = _context(visit, form=form)
    return render(request, "treatments/reporting/freeze.html", context, status=UNPROCESSABLE if form.is_bound else 200)


def frozen(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Show one freeze, and look at once whether file, signature and log still agree."""
    visit = enter(request, site, Act.SEE)
    row = get_object_or_404(Freeze.objects.filter(site=visit.site).select_related("evidence", "run"), pk=pk)
    context = _context(visit, row=row, told=freezing.look_at(row), may_freeze=visit.may(Act.SIGN))
    return render(request, "treatments/reporting/frozen.html", context)
