"""Pages of counters: all of them, one with its readings and rate of use, read it, replace its meter."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db import transaction
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _

from facility import events, evidence
from facility.access import Act, Visit, enter
from facility.fields import refuse
from facility.history import timeline
from maintenance.compute.counters import usage
from maintenance.models import Counter, CounterReading, IntervalRule, MeterReplacement
from maintenance.upkeep import services
from maintenance.upkeep.forms import ReadingForm, ReplaceForm
from maintenance.upkeep.state import in_order, iter_states, on_of, span_days
from maintenance.upkeep.totals import totals_of
from maintenance.upkeep.views import context_of, line_of, today_of

if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse

SHOWN = 30


def counters(request: HttpRequest, site: str) -> HttpResponse:
    """List the counters with their running totals and rates of use."""
    visit = enter(request, site, Act.SEE)
    totals = totals_of({visit.site.pk: visit.site.zone}, events.now())
    rows = Counter.objects.filter(site=visit.site, retired_at=None).select_related("chamber", "equipment")
    lines = [(row, (totals.get(row.pk) or (None,))[-1], usage(totals.get(row.pk, ()), span_days())) for row in rows]
    return render(request, "maintenance/upkeep/counters.html", context_of(visit, lines=lines))


def counter_of(visit: Visit, pk: int) -> Counter:
    """Return a counter of the site, or 404."""
    rows = Counter.objects.filter(site=visit.site).select_related("site", "chamber", "equipment")
    return get_object_or_404(rows, pk=pk)


def counter(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Show one counter: readings, running total, rate with span and scatter, and what rests on it."""
    visit = enter(request, site, Act.SEE)
    row, today = counter_of(visit, pk), today_of(visit)
    total = totals_of({visit.site.pk: visit.site.zone}, events.now()).get(row.pk, ())
    rules = IntervalRule.objects.filter(counter=row, retired_at=None, equipment__retired_at=None)
    states = in_order(iter_states(rules, {visit.site.pk: on_of(visit.site, today)}))
    context = context_of(
        visit, row=row, latest=total[-1] if total else None, rate=usage(total, span_days()),
        readings=list(row.readings.filter(retired_at=None)[:SHOWN]), replaced=list(row.replacements.filter(retired_at=None)),
        lines=[line_of(one, today) for one in states], history=timeline(row, ZoneInfo(visit.site.zone)),
        may_read=visit.may(Act.CHECK),
    )  # fmt: skip
    return render(request, "maintenance/upkeep/counter.html", context)


def read_counter(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Store what a counter shows. A lower value is not taken: it leads on to the page of a replaced meter."""
    visit = enter(request, site, Act.CHECK)
    row, now = counter_of(visit, pk), events.now()
    initial = {"read_at": now, "read_by": visit.actor.name}
    form = ReadingForm(request.POST or None, instance=CounterReading(counter=row), initial=initial)
    form.open_at(visit.site, now)
    replace = ""
    if form.is_valid():
        try:
            services.read_counter(form.instance, by=visit.actor)
        except ValidationError as error:
            replace = _leads_to(visit, row, form) if _is_lower(error) else ""
            refuse(form, error)
        else:
            messages.success(request, _("Recorded."))
            return redirect("maintenance:counter", site, pk)
    context = context_of(visit, form=form, row=row, replace=replace, title=_("Read %(counter)s") % {"counter": row})
    return render(request, "maintenance/upkeep/read.html", context, status=422 if form.is_bound else 200)


def _is_lower(error: ValidationError) -> bool:
    found = getattr(error, "error_dict", {}).get("value", [])
    return any(one.code == services.LOWER for one in found)


def _leads_to(visit: Visit, row: Counter, form: ReadingForm) -> str:
    """Return the address of the page of a replaced meter, with what was typed."""
    typed = {"value": f"{form.cleaned_data['value']:f}", "read_by": form.cleaned_data["read_by"]}
    day = form.cleaned_data["read_at"].astimezone(ZoneInfo(visit.site.zone)).date()
    address = reverse("maintenance:replace_meter", args=[visit.site.key, row.pk])
    return f"{address}?{urlencode(typed | {'on': day.isoformat()})}"


def replace_meter(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Store that a meter was replaced or set, and the reading of the new one."""
    visit = enter(request, site, Act.PLANT)
    row = counter_of(visit, pk)
    form = ReplaceForm(
        request.POST or None,
        request.FILES or None,
        instance=MeterReplacement(counter=row),
        initial=_known(request, visit, row),
    )
    form.open_at(visit.site, today_of(visit))
    if form.is_valid():
        try:
            _store_replaced(visit, row, form)
        except ValidationError as error:
            refuse(form, error)
        else:
            messages.success(request, _("Recorded. The running total goes on from the old meter."))
            return redirect("maintenance:counter", site, pk)
    title = _("Meter of %(counter)s replaced or set") % {"counter": row}
    note = _("Readings are never changed: the difference between the two meters is kept beside them.")
    context = context_of(visit, form=form, title=title, note=note, back="counters")
    return render(request, "maintenance/upkeep/form.html", context, status=422 if form.is_bound else 200)


def _known(request: HttpRequest, visit: Visit, row: Counter) -> dict[str, Any]:
    """Return what is known beforehand: the last reading of the old meter, and what was typed as a reading."""
    last = row.readings.filter(retired_at=None).first()
    return {
        "replaced_on": request.GET.get("on") or today_of(visit), "last_of_old": last.value if last else None,
        "first_of_new": 0, "value": request.GET.get("value"), "done_by": request.GET.get("read_by") or visit.actor.name,
    }  # fmt: skip


@transaction.atomic
def _store_replaced(visit: Visit, row: Counter, form: ReplaceForm) -> None:
    if form.cleaned_data.get("proof"):
        form.instance.evidence = evidence.accept(form.cleaned_data["proof"], site=visit.site, by=visit.actor)
    services.replace_meter(form.instance, by=visit.actor)
    value = form.cleaned_data.get("value")
    if value is not None:
        reading = CounterReading(counter=row, read_at=events.now(), value=value, read_by=form.cleaned_data["done_by"])
        services.read_counter(reading, by=visit.actor)
