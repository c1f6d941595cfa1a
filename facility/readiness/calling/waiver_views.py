"""The register of waivers; granting, countersigning and ending one."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from facility import events
from facility.access import Act, Visit, enter
from facility.accounts.password_form import PasswordForm
from facility.fields import refuse
from facility.history import timeline
from facility.http import StaffRequest
from facility.readiness.calling.forms import EndForm, WaiverForm
from facility.readiness.no_chamber import no_chamber
from facility.readiness.services import caution, chambers_of, evaluate_chamber
from facility.services import ChangedMeanwhileError
from treatments.calling import waivers
from treatments.calling.waivers import Grant
from treatments.models import Need, Waiver

if TYPE_CHECKING:
    from datetime import datetime

    from facility.models import Chamber

UNPROCESSABLE = 422


def _context(visit: Visit, **more: Any) -> dict[str, Any]:
    return {"visit": visit, "place": "records", **more}


def register(request: StaffRequest, site: str) -> HttpResponse:
    """List the waivers: those that lack a countersign first, then those in force, then the past ones."""
    visit = enter(request, site, Act.SEE)
    now = events.now()
    rows = list(waivers.of_site(visit.site))
    lacking = [row for row in rows if waivers.lacks_countersign(row)]
    current = [row for row in rows if waivers.in_force(row, now) and row not in lacking]
    context = _context(
        visit, now=now, parts=[
            (_("Waiting for a countersign"), lacking), (_("In force"), current),
            (_("Over"), [row for row in rows if row not in lacking and row not in current]),
        ],
        count=len(current) + sum(waivers.in_force(row, now) for row in lacking),
        may_grant=visit.may(Act.WAIVE), may_record=visit.may(Act.RUN),
    )  # fmt: skip
    return render(request, "readiness/calling/register.html", context)


def _chamber_of(visit: Visit, key: str | None) -> Chamber:
    found = next((one for one in chambers_of(visit.site) if key in (None, "", one.key)), None)
    if found is None:
        raise Http404
    return found


def grant(request: StaffRequest, site: str) -> HttpResponse:
    """Grant a waiver in one's own name."""
    return _granting(request, enter(request, site, Act.WAIVE), spoken=False)


def record(request: StaffRequest, site: str) -> HttpResponse:
    """Record a waiver that somebody who may grant it spoke on the telephone."""
    return _granting(request, enter(request, site, Act.RUN), spoken=True)


def _granting(request: StaffRequest, visit: Visit, *, spoken: bool) -> HttpResponse:
    if not chambers_of(visit.site):
        return no_chamber(request, visit, _("Waive a finding"), "now")
    chamber = _chamber_of(visit, request.GET.get("chamber"))
    now = events.now()
    form = WaiverForm(request.POST or None, request=request, initial=_offered(request, chamber))
    form.open_on(chamber, may_grant=not spoken)
    if form.is_valid():
        try:
            row = _record(form, chamber, visit, now, spoken=spoken)
        except ValidationError as error:
            refuse(form, error)
        else:
            messages.success(request, _("The waiver is in force. It deletes no finding."))
            return redirect("readiness:waiver", visit.site.key, row.pk)
    need = _need(request, chamber)
    context = _context(
        visit, form=form, chamber=chamber, may_grant=not spoken, caution=caution(),
        before=waivers.before_it(need, chamber.pk, now), finding=_finding(chamber, need, now),
    )  # fmt: skip
    return render(request, "readiness/calling/grant.html", context, status=UNPROCESSABLE if form.is_bound else 200)


def _need(request: StaffRequest, chamber: Chamber) -> Need | None:
    key = request.GET.get("need", "")
    return Need.objects.filter(chamber=chamber, key=key, retired_at=None).first() if key else None


def _offered(request: StaffRequest, chamber: Chamber) -> dict[str, Any]:
    need, plan = _need(request, chamber), request.GET.get("plan", "")
    enough = need.k - 1 if need is not None else 0
    return {"need": need.pk if need else None, "plans": [plan] if plan else [], "accepts": enough}


def _finding(chamber: Chamber, need: Need | None, now: datetime) -> str:
    """Return what is said of a need now, for the plan that it stands in the way of."""
    if need is None:
        return ""
    answer = evaluate_chamber(chamber, now)
    for plan, found in answer.evaluations.items():
        if need.key in found.findings and found.findings[need.key].state != "holds":
            return answer.reason(plan, need.key)
    return ""


def _record(form: WaiverForm, chamber: Chamber, visit: Visit, now: datetime, *, spoken: bool) -> Waiver:
    typed = form.cleaned_data
    row = Waiver(
        chamber=chamber, need=typed["need"], plans=typed["plans"] or None, starts_at=now, ends_at=typed["ends_at"],
        to_end_of_run=typed["to_end_of_run"], accepts=typed["accepts"] if typed["need"] else 0,
        without=typed["without"], why=form.reason()[:500], counter_measure=typed["counter_measure"],
        granted_by=typed.get("granted_by", ""), spoken=spoken,
    )  # fmt: skip
    how = Grant(visit.actor.user_id, spoken, _finding(chamber, typed["need"], now))
    return waivers.grant(row, how, by=visit.actor)


def waiver(request: StaffRequest, site: str, pk: int) -> HttpResponse:
    """Show one waiver with what was said when it was granted; end it before its time."""
    visit = enter(request, site, Act.SEE)
    row = get_object_or_404(waivers.of_site(visit.site), pk=pk)
    now = events.now()
    form = EndForm(request.POST or None)
    if request.method == "POST":
        visit = enter(request, site, Act.RUN)
        if form.is_valid():
            try:
                waivers.end(row, by=visit.actor, reason=form.cleaned_data["reason"])
            except (ValidationError, ChangedMeanwhileError) as error:
                form.add_error(None, error)
            else:
                return redirect("readiness:waiver", site, pk)
    context = _context(
        visit, row=row, form=form, now=now, in_force=waivers.in_force(row, now), lacks=waivers.lacks_countersign(row),
        overdue=waivers.lacks_countersign(row) and row.countersign_by is not None and row.countersign_by < now,
        may_end=visit.may(Act.RUN), may_countersign=visit.may(Act.WAIVE), history=timeline(row, zone_of(visit)),
    )  # fmt: skip
    return render(request, "readiness/calling/waiver.html", context, status=UNPROCESSABLE if form.errors else 200)


def zone_of(visit: Visit) -> Any:
    """Return the zone of the visit's site."""
    return ZoneInfo(visit.site.zone)


def countersign(request: StaffRequest, site: str, pk: int) -> HttpResponse:
    """Put one's own name to a waiver that was granted on the telephone."""
    visit = enter(request, site, Act.WAIVE)
    row = get_object_or_404(waivers.of_site(visit.site), pk=pk)
    form = PasswordForm(request.POST or None, request=request)
    if form.is_valid():
        try:
            waivers.countersign(row, user_id=request.user.pk, by=visit.actor, shown_version=row.row_version)
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, _("Countersigned."))
            return redirect("readiness:waiver", site, pk)
    return render(
        request, "readiness/calling/countersign.html", _context(visit, row=row, form=form),
        status=UNPROCESSABLE if form.is_bound else 200,
    )  # fmt: skip
