"""Pages of drills and procedures."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from facility import events, house, services
from facility.access import Act, Visit, enter
from facility.evidence import accept
from facility.fields import refuse
from facility.models import Drill, DrillKind, Person, Procedure, ProcedureRead
from facility.practice import services as practice
from facility.practice.forms import DrillForm, DrillKindForm, ProcedureForm

if TYPE_CHECKING:
    from django import forms

    from facility.http import StaffRequest

UNPROCESSABLE = 422
NEWEST = 50


def _context(visit: Visit, **more: Any) -> dict[str, Any]:
    return {"visit": visit, "place": "people", **more}


def drills(request: StaffRequest, site: str) -> HttpResponse:
    """Show who practised what and until when it counts, and the newest drills."""
    visit = enter(request, site, Act.SEE)
    kinds, rows = practice.matrix(visit.site)
    today = events.now().astimezone(ZoneInfo(visit.site.zone)).date()
    lines = [
        (row.person, [(kind, one, one.in_date(today)) for kind, one in zip(kinds, row.cells, strict=True)])
        for row in rows
    ]
    newest = Drill.objects.filter(kind__site=visit.site, retired_at=None).select_related("kind")
    context = _context(
        visit, kinds=kinds, lines=lines, newest=list(newest.prefetch_related("parts__person")[:NEWEST]),
        may_keep=visit.may(Act.PEOPLE),
    )  # fmt: skip
    return render(request, "practice/drills.html", context)


def hold_drill(request: StaffRequest, site: str) -> HttpResponse:
    """Record a drill that was held."""
    visit = enter(request, site, Act.PEOPLE)
    now = events.now()
    form = DrillForm(request.POST or None, initial={"held_at": now, "led_by": visit.actor.name, "reached": True})
    form.open_at(visit.site)
    if form.is_valid():
        late_min = int(house.values(visit.site)["late_entry_min"])
        late = events.is_late(form.cleaned_data["held_at"], now, late_min)
        try:
            people = form.cleaned_data["people"]
            practice.hold(form.instance, people, by=visit.actor, late=late, roles=form.roles())
        except ValidationError as error:
            refuse(form, error)
        else:
            messages.success(request, _("The drill is kept."))
            return redirect("practice:drills", site)
    return _form_page(request, visit, form, _("Record a drill"))


def add_drill_kind(request: StaffRequest, site: str) -> HttpResponse:
    """Add a kind of drill."""
    visit = enter(request, site, Act.PEOPLE)
    form = DrillKindForm(request.POST or None, instance=DrillKind(site=visit.site))
    if form.is_valid():
        services.add(form.instance, by=visit.actor)
        return redirect("practice:drills", site)
    return _form_page(request, visit, form, _("Add a kind of drill"))


def _form_page(request: StaffRequest, visit: Visit, form: forms.BaseForm, title: str) -> HttpResponse:
    context = _context(visit, form=form, title=title)
    return render(request, "practice/form.html", context, status=UNPROCESSABLE if form.is_bound else 200)


def procedures(request: StaffRequest, site: str) -> HttpResponse:
    """List the procedures in force, with what the one who looks has not read yet."""
    visit = enter(request, site, Act.SEE)
    me = Person.objects.filter(site=visit.site, user=request.user, retired_at=None).first()
    unread = {row.pk for row in practice.unread_by(me)} if me is not None else set()
    now = events.now()
    context = _context(
        visit, rows=practice.in_force(visit.site, now), unread=unread, me=me, now=now, may_write=visit.may(Act.RULES)
    )
    return render(request, "practice/procedures.html", context)


def procedure(request: StaffRequest, site: str, pk: int) -> HttpResponse:
    """Show one version: its steps, who has read it and who has not."""
    visit = enter(request, site, Act.SEE)
    row = get_object_or_404(Procedure.objects.select_related("evidence"), pk=pk, site=visit.site)
    reads = {read.person_id: read for read in ProcedureRead.objects.filter(procedure=row, retired_at=None)}
    people = list(Person.objects.filter(site=visit.site, retired_at=None))
    me = next((person for person in people if person.user_id == request.user.pk), None)
    versions = Procedure.objects.filter(site=visit.site, key=row.key).order_by("-version")
    context = _context(
        visit, row=row, steps=[line for line in row.text.splitlines() if line.strip()], versions=list(versions),
        readers=[(person, reads.get(person.pk)) for person in people], me=me,
        i_read=me is not None and me.pk in reads, may_write=visit.may(Act.RULES),
    )  # fmt: skip
    return render(request, "practice/procedure.html", context)


@require_POST
def read_procedure(request: StaffRequest, site: str, pk: int) -> HttpResponse:
    """Mark a version as read by the one who is signed in."""
    visit = enter(request, site, Act.SEE)
    row = get_object_or_404(Procedure, pk=pk, site=visit.site)
    me = Person.objects.filter(site=visit.site, user=request.user, retired_at=None).first()
    if me is None:
        messages.error(request, _("Your account is nobody of the crew here. Link it under People first."))
        return redirect("practice:procedure", site, pk)
    try:
        practice.mark_read(row, me, by=visit.actor)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return redirect("practice:procedure", site, pk)


def write_procedure(request: StaffRequest, site: str, pk: int | None = None) -> HttpResponse:
    """Write a procedure, or its next version."""
    visit = enter(request, site, Act.RULES)
    old = get_object_or_404(Procedure, pk=pk, site=visit.site) if pk is not None else None
    initial: dict[str, Any] = {"in_force_from": events.now()}
    if old is not None:
        initial |= {"key": old.key, "title": old.title, "text": old.text}
    row = Procedure(site=visit.site, evidence=old.evidence if old is not None else None, approved_by=visit.actor.name)
    form = ProcedureForm(request.POST or None, request.FILES or None, instance=row, initial=initial)
    form.open_at(visit.site, key_fixed=old is not None)
    if form.is_valid():
        try:
            if form.cleaned_data["paper"]:
                row.evidence = accept(form.cleaned_data["paper"], site=visit.site, by=visit.actor)
            practice.put_in_force(form.instance, by=visit.actor, reason=form.cleaned_data["why"] or _("First version."))
        except ValidationError as error:
            refuse(form, error)
        else:
            return redirect("practice:procedure", site, form.instance.pk)
    return _form_page(request, visit, form, _("Write a procedure") if old is None else _("Next version"))
