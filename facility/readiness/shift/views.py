"""Pages of hand-overs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from facility import events
from facility.access import Act, Visit, enter
from facility.fields import refuse
from facility.models import HandOver
from facility.readiness.shift import services
from facility.readiness.shift.forms import GiveForm, ReceiveForm
from facility.readiness.shift.services import Said

if TYPE_CHECKING:
    from django.http import HttpResponse

    from facility.http import StaffRequest

UNPROCESSABLE = 422


def _context(visit: Visit, **more: Any) -> dict[str, Any]:
    return {"visit": visit, "place": "log", **more}


def hand_overs(request: StaffRequest, site: str) -> HttpResponse:
    """List the hand-overs, the open one first."""
    visit = enter(request, site, Act.SEE)
    rows = HandOver.objects.filter(site=visit.site, retired_at=None).order_by("-given_at")[:100]
    context = _context(visit, rows=list(rows), open=services.open_of(visit.site), may_give=visit.may(Act.CHECK))
    return render(request, "readiness/shift/hand_overs.html", context)


def give(request: StaffRequest, site: str) -> HttpResponse:
    """Show what the record tells the next shift, and take what it cannot know."""
    visit = enter(request, site, Act.CHECK)
    form = GiveForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        typed = form.cleaned_data
        try:
            row = services.give(visit.site, Said(typed["expect"], typed["if_then"]), by=visit.actor)
        except ValidationError as error:
            refuse(form, error)
        else:
            messages.success(request, _("Given. It is open until another person receives it."))
            return redirect("readiness:hand_over", site, row.pk)
    context = _context(visit, form=form, told=services.prepare(visit.site, events.now()))
    return render(request, "readiness/shift/give.html", context, status=UNPROCESSABLE if form.errors else 200)


def hand_over(request: StaffRequest, site: str, pk: int) -> HttpResponse:
    """Show one hand-over as it was given; the receiver ends it."""
    visit = enter(request, site, Act.SEE)
    row = get_object_or_404(HandOver, pk=pk, site=visit.site)
    may_receive = visit.may(Act.CHECK) and row.received_at is None and request.user.pk != row.given_user
    form = ReceiveForm(request.POST or None, request=request, initial={"shown_version": row.row_version})
    if request.method == "POST":
        visit = enter(request, site, Act.CHECK)
        if form.is_valid():
            typed = form.cleaned_data
            try:
                services.receive(row, typed["read_back"], by=visit.actor, shown_version=typed["shown_version"])
            except ValidationError as error:
                refuse(form, error)
            else:
                messages.success(request, _("Received."))
                return redirect("readiness:hand_over", site, pk)
    context = _context(visit, row=row, told=row.prepared, form=form, may_receive=may_receive)
    return render(request, "readiness/shift/hand_over.html", context, status=UNPROCESSABLE if form.errors else 200)
