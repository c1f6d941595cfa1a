"""Pages of needs: what a run rests on, met by at least k of its members."""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db.models import Count, Prefetch, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from facility.access import Act, Visit, enter
from facility.fields import refuse
from facility.history import timeline
from facility.services import ChangedMeanwhileError
from treatments import services
from treatments.forms import NeedForm, RetireForm
from treatments.models import Need, NeedMember
from treatments.services import Members


def _context(visit: Visit, **more: Any) -> dict[str, Any]:
    return {"visit": visit, "place": "setup", "may_rules": visit.may(Act.RULES), **more}


def _need(visit: Visit, pk: int) -> Need:
    return get_object_or_404(Need.objects.filter(chamber__site=visit.site).select_related("chamber__site"), pk=pk)


def _members_of(need: Need) -> list[NeedMember]:
    return list(need.members.filter(retired_at=None).select_related("equipment", "bank", "sheet"))


def needs(request: HttpRequest, site: str) -> HttpResponse:
    """List the needs of each chamber with their members."""
    visit = enter(request, site, Act.SEE)
    members = NeedMember.objects.filter(retired_at=None).select_related("equipment", "bank", "sheet")
    rows = Need.objects.filter(chamber__site=visit.site).select_related("chamber")
    past_too = request.GET.get("all") == "1"
    if not past_too:
        rows = rows.filter(retired_at=None)
    shown = rows.annotate(plans_in_force=Count("plans", filter=Q(plans__retired_at=None))).prefetch_related(
        Prefetch("members", members, to_attr="current_members")
    )
    return render(
        request,
        "treatments/needs.html",
        _context(visit, needs=shown.order_by("chamber__key", "key"), past_too=past_too),
    )


def need(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Show one need, its members, the plans that rest on it, and what happened to it."""
    visit = enter(request, site, Act.SEE)
    row = _need(visit, pk)
    context = _context(
        visit, row=row, members=_members_of(row), plans=row.plans.filter(retired_at=None).order_by("place", "key"),
        history=timeline(row, ZoneInfo(visit.site.zone)),
    )  # fmt: skip
    return render(request, "treatments/need.html", context)


def add_need(request: HttpRequest, site: str) -> HttpResponse:
    """Add a need with its members."""
    visit = enter(request, site, Act.RULES)
    form = NeedForm(request.POST or None)
    form.open_at(visit.site, None)
    if form.is_valid():
        try:
            row = services.add_need(form.instance, form.members(), by=visit.actor)
        except ValidationError as error:
            refuse(form, error)
        else:
            messages.success(request, _("Recorded: %(what)s.") % {"what": row})
            return redirect("treatments:need", site, row.pk)
    return render(
        request, "treatments/edit_need.html", _context(visit, form=form), status=422 if form.is_bound else 200
    )


def change_need(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Change a need and its members."""
    visit = enter(request, site, Act.RULES)
    row = get_object_or_404(
        Need.objects.filter(chamber__site=visit.site, retired_at=None).select_related("chamber__site"), pk=pk
    )
    found = _members_of(row)
    members = Members(
        tuple(one.equipment_id for one in found if one.equipment_id),
        tuple(one.bank_id for one in found if one.bank_id),
        tuple(one.sheet_id for one in found if one.sheet_id),
    )
    form = NeedForm(request.POST or None, instance=row)
    form.open_at(visit.site, members)
    status = 422 if form.is_bound else 200
    if form.is_valid():
        typed = form.cleaned_data
        try:
            services.change_need(
                row, form.members(), by=visit.actor, reason=typed["reason"], shown_version=typed["shown_version"]
            )
        except ChangedMeanwhileError as error:
            status = 409
            form.add_error(None, error)
        except ValidationError as error:
            refuse(form, error)
        else:
            messages.success(request, _("Corrected: %(what)s.") % {"what": row})
            return redirect("treatments:need", site, pk)
    return render(request, "treatments/edit_need.html", _context(visit, form=form, row=row), status=status)


def retire_need(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Let a need no longer count, unless a plan in force rests on it."""
    visit = enter(request, site, Act.RULES)
    row = _need(visit, pk)
    form = RetireForm(request.POST or None)
    if form.is_valid():
        try:
            services.retire_need(row, by=visit.actor, reason=form.cleaned_data["reason"])
        except ValidationError as error:
            refuse(form, error)
        else:
            return redirect("treatments:needs", site)
    context = _context(visit, row=row, form=form, back="treatments:need")
    return render(request, "treatments/retire.html", context, status=422 if form.is_bound else 200)
