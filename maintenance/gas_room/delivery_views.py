"""Pages of deliveries: from quarantine over the analysis into a bank, or back to the supplier."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Count, Q
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from facility import events, evidence, house
from facility.access import Act, Visit, enter
from facility.fields import refuse
from facility.models import Evidence
from facility.shown import page_number
from maintenance.gas_room import services
from maintenance.gas_room.forms import AcceptForm, AnalyseForm, DeliveredForm, DeliveryForm, RefuseForm
from maintenance.gas_room.limits import shown_sets, wrong_gas_words
from maintenance.gas_room.states import note_on_sets, refusal_words, requalification_words, standing_of, why_not
from maintenance.models import DeliveredCylinder, Delivery, QuarantineState

if TYPE_CHECKING:
    from datetime import datetime

    from django import forms
    from django.http import HttpRequest, HttpResponse

PAGE = 50
OPEN = [QuarantineState.QUARANTINE, QuarantineState.ANALYSED]


def context_of(visit: Visit, **more: Any) -> dict[str, Any]:
    """Return what every page here needs."""
    return {"visit": visit, "place": "plant", "may_plant": visit.may(Act.PLANT), **more}


def form_page(request: HttpRequest, visit: Visit, form: Any, **words: Any) -> HttpResponse:
    """Return the page of a form; refused with 422 and all that was typed."""
    context = context_of(visit, form=form, **words)
    return render(request, "maintenance/gas_room/form.html", context, status=422 if form.is_bound else 200)


def is_late(visit: Visit, at: datetime, now: datetime) -> bool:
    """Return whether something is entered later than the house takes as on time."""
    return now - at > timedelta(minutes=int(house.values(visit.site)["late_entry_min"]))


def taken_in(form: forms.BaseForm, name: str, visit: Visit) -> Evidence | None:
    """Take the file of a form field in. Errors: ValidationError at that field."""
    upload = form.cleaned_data.get(name)
    if not upload:
        return None
    try:
        return evidence.accept(upload, site=visit.site, by=visit.actor)
    except ValidationError as error:
        raise ValidationError({name: error.messages}) from None


def delivered_of(visit: Visit, pk: int) -> DeliveredCylinder:
    """Return a delivered cylinder of the site. Errors: Http404."""
    rows = DeliveredCylinder.objects.select_related(
        "delivery__site", "delivery__evidence", "analyser", "cylinder__bank", "photo"
    )
    return get_object_or_404(rows, pk=pk, delivery__site=visit.site)


def deliveries(request: HttpRequest, site: str) -> HttpResponse:
    """List deliveries, newest first, with how many cylinders of each still wait."""
    visit = enter(request, site, Act.SEE)
    number = page_number(request.GET.get("page"))
    first = (number - 1) * PAGE
    rows = Delivery.objects.filter(site=visit.site, retired_at=None).annotate(
        all_cylinders=Count("cylinders", filter=Q(cylinders__retired_at=None)),
        waiting=Count("cylinders", filter=Q(cylinders__state__in=OPEN, cylinders__retired_at=None)),
        refused=Count("cylinders", filter=Q(cylinders__state=QuarantineState.REFUSED)),
    )
    found = list(rows.order_by("-received_at", "-pk")[first : first + PAGE + 1])
    context = context_of(visit, rows=found[:PAGE], number=number, more=len(found) > PAGE,
                         waiting=sum(one.waiting for one in found[:PAGE]))  # fmt: skip
    return render(request, "maintenance/gas_room/deliveries.html", context)


def add_delivery(request: HttpRequest, site: str) -> HttpResponse:
    """Take a delivery in: into quarantine, where it counts for nothing."""
    visit = enter(request, site, Act.PLANT)
    now = events.now()
    form = DeliveryForm(request.POST or None, request.FILES or None, instance=Delivery(site=visit.site),
                        initial={"received_at": now, "received_by": visit.actor.name})  # fmt: skip
    form.open_at(visit, now)
    if form.is_valid():
        try:
            with transaction.atomic():
                form.instance.evidence = taken_in(form, "upload", visit)
                late = is_late(visit, form.instance.received_at, now)
                stored = services.add_delivery(form.instance, by=visit.actor, late=late)
        except ValidationError as error:
            refuse(form, error)
        else:
            return redirect("maintenance:add_delivered", site, stored.pk)
    return form_page(request, visit, form, title=_("A delivery came in"), send=_("Put it into quarantine"),
                     caution=_("Keep it apart from the banks until each cylinder was analysed and accepted."))  # fmt: skip


def delivery(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Show one delivery with its cylinders."""
    visit = enter(request, site, Act.SEE)
    row = get_object_or_404(Delivery.objects.select_related("evidence"), pk=pk, site=visit.site)
    cylinders = row.cylinders.filter(retired_at=None).select_related("analyser", "cylinder__bank").order_by("mark")
    lines = [{"row": one, "standing": standing_of(one)} for one in cylinders]
    return render(request, "maintenance/gas_room/delivery.html", context_of(visit, row=row, lines=lines))


def add_delivered(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Add a cylinder to a delivery, as its shoulder says."""
    visit = enter(request, site, Act.PLANT)
    row = get_object_or_404(Delivery, pk=pk, site=visit.site)
    form = DeliveredForm(request.POST or None, instance=DeliveredCylinder(delivery=row))
    form.open_at(visit, events.now())
    if form.is_valid():
        form.instance.test_due_on = form.cleaned_data["test_due_on"]
        try:
            stored = services.add_delivered(form.instance, by=visit.actor)
        except ValidationError as error:
            refuse(form, error)
        else:
            messages.success(request, _("%s is in quarantine and counts for nothing.") % stored.mark)
            return redirect("maintenance:delivery", site, pk)
    return form_page(request, visit, form, title=_("Cylinder of %s") % row, send=_("Add the cylinder"), back=row)


def delivered(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Show one delivered cylinder: its marks, its analysis against every limit set, what became of it."""
    visit = enter(request, site, Act.SEE)
    row = delivered_of(visit, pk)
    today = events.now().astimezone(ZoneInfo(visit.site.zone)).date()
    certificate = row.judged.get("certificate")
    wrong = wrong_gas_words(row.judged, row.values.get("o2"))
    context = context_of(
        visit, row=row, standing=standing_of(row), reasons=[one for one in why_not(row) if one != wrong],
        sets=shown_sets(row.judged), wrong=wrong, differ=note_on_sets(row.judged),
        tested=requalification_words(row.test_due_on, today), hook_up=row.judged.get("hook_up"),
        certificate=Evidence.objects.filter(pk=certificate, site=visit.site).first() if certificate else None,
        is_open=row.state in OPEN, words=refusal_words(row, visit.site) if row.refused_because else "",
    )  # fmt: skip
    return render(request, "maintenance/gas_room/delivered.html", context)


def analyse(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Record the analysis of a delivered cylinder, passed or not."""
    visit = enter(request, site, Act.PLANT)
    row = delivered_of(visit, pk)
    now = events.now()
    form = AnalyseForm(request.POST or None, request.FILES or None, initial={
        "analysed_at": now, "analysed_by": visit.actor.name, "unit": row.unit, "shown_version": row.row_version,
    })  # fmt: skip
    form.open_at(visit, now)
    if form.is_valid():
        try:
            with transaction.atomic():
                services.analyse(row, _analysis(form, visit), house.values(visit.site), by=visit.actor,
                                 shown_version=form.cleaned_data["shown_version"])  # fmt: skip
        except ValidationError as error:
            refuse(form, error)
        else:
            return redirect("maintenance:delivered", site, pk)
    return form_page(request, visit, form, title=_("Analysis of %s") % row.mark, send=_("Record the analysis"),
                     cylinder=row, caution=_("Analyse what is in the cylinder, not what is on its label. Check the"
                                             " analyser in air and in a known gas before and after."))  # fmt: skip


def _analysis(form: AnalyseForm, visit: Visit) -> services.Analysis:
    typed = form.cleaned_data
    return services.Analysis(
        at=typed["analysed_at"], by=typed["analysed_by"], analyser=typed["analyser"], pressure=typed["pressure"],
        unit=typed["unit"], pressure_bar=services.in_bar(typed["pressure"], typed["unit"]),
        temperature_c=typed["temperature_c"], values=form.values(), odour=typed["odour"],
        certificate=taken_in(form, "upload", visit),
    )  # fmt: skip


def accept(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Accept an analysed cylinder into a bank."""
    visit = enter(request, site, Act.PLANT)
    row = delivered_of(visit, pk)
    form = AcceptForm(request.POST or None, initial={"shown_version": row.row_version})
    form.open_for(visit, row.delivery.gas, events.now())
    if form.is_valid():
        version = form.cleaned_data["shown_version"]
        try:
            services.accept(row, form.cleaned_data["bank"], by=visit.actor, shown_version=version)
        except ValidationError as error:
            refuse(form, error)
        else:
            messages.success(request, _("%s counts from now on. Read the bank's gauge after hook-up.") % row.mark)
            return redirect("maintenance:delivered", site, pk)
    return form_page(request, visit, form, title=_("Accept %s into a bank") % row.mark, send=_("Accept it"),
                     cylinder=row, reasons=why_not(row))  # fmt: skip


def refuse_cylinder(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Refuse a delivered cylinder, with reason and photo."""
    visit = enter(request, site, Act.PLANT)
    row = delivered_of(visit, pk)
    form = RefuseForm(request.POST or None, request.FILES or None, initial={
        "shown_version": row.row_version, "because": " ".join(why_not(row))[:500],
    })  # fmt: skip
    form.open_at(visit, events.now())
    if form.is_valid():
        typed = form.cleaned_data
        try:
            with transaction.atomic():
                photo = taken_in(form, "photo", visit)
                services.refuse(row, typed["because"], photo, by=visit.actor, shown_version=typed["shown_version"])
        except ValidationError as error:
            refuse(form, error)
        else:
            return redirect("maintenance:delivered", site, pk)
    return form_page(request, visit, form, title=_("Refuse %s") % row.mark, send=_("Refuse it"), cylinder=row)
