"""Pages of samples of breathing gas."""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import urlencode

from django.core.exceptions import ValidationError
from django.db import transaction
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _

from facility import events, house
from facility.access import Act, enter
from facility.fields import refuse
from facility.shown import page_number
from maintenance.gas_room.delivery_views import PAGE, context_of, form_page, is_late, taken_in
from maintenance.gas_room.forms import SampleForm
from maintenance.gas_room.limits import POINTS, shown_sets, wrong_gas_words
from maintenance.gas_room.samples import reasons_of, take_sample
from maintenance.gas_room.states import Standing, note_on_sets
from maintenance.models import GasSample

if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse

    from facility.access import Visit


def standing_of_sample(row: GasSample) -> Standing:
    """Return where a sample stands, in words and mark."""
    if row.doubted_by_id is not None:
        return Standing("unknown", _("In doubt: what it rests on turned out bad"))
    if row.passed is None:
        return Standing("unknown", _("No pass: something is missing"))
    return Standing("indate", _("Within the adopted limits")) if row.passed else Standing("stop", _("Outside limits"))


def samples(request: HttpRequest, site: str) -> HttpResponse:
    """List the samples, newest first."""
    visit = enter(request, site, Act.SEE)
    number = page_number(request.GET.get("page"))
    first = (number - 1) * PAGE
    rows = GasSample.objects.filter(site=visit.site, retired_at=None).select_related("equipment", "bank")
    found = list(rows.order_by("-taken_at", "-pk")[first : first + PAGE + 1])
    lines = [{"row": one, "standing": standing_of_sample(one), "point": POINTS[one.point][0]} for one in found[:PAGE]]
    context = context_of(visit, lines=lines, number=number, more=len(found) > PAGE)
    return render(request, "maintenance/gas_room/samples.html", context)


def add_sample(request: HttpRequest, site: str) -> HttpResponse:
    """Record a sample, within limits or not."""
    visit = enter(request, site, Act.PLANT)
    now = events.now()
    form = SampleForm(request.POST or None, request.FILES or None, initial={
        "taken_at": now, "taken_by": visit.actor.name, "gas": "AIR",
    } | {name: request.GET[name] for name in ("equipment", "rule", "bank") if request.GET.get(name)})  # fmt: skip
    form.open_at(visit, now)
    if form.is_valid():
        try:
            stored = _stored(form, visit)
        except ValidationError as error:
            refuse(form, error)
        else:
            return redirect("maintenance:sample", site, stored.pk)
    return form_page(request, visit, form, title=_("A sample of breathing gas"), send=_("Record the sample"),
                     caution=_("Type what was measured, in the units named. What was not measured stays empty:"
                               " it is named as missing, never taken for good."))  # fmt: skip


@transaction.atomic
def _stored(form: SampleForm, visit: Visit) -> GasSample:
    typed = form.cleaned_data
    fields = ("gas", "point", "equipment", "bank", "taken_at", "taken_by", "analyser", "laboratory", "pressure_bar",
              "odour")  # fmt: skip
    sample = GasSample(site=visit.site, evidence=taken_in(form, "upload", visit),
                       **{name: typed[name] for name in fields})  # fmt: skip
    late = is_late(visit, sample.taken_at, form.now)
    return take_sample(sample, form.values(), typed["rule"], house.values(visit.site), by=visit.actor, late=late)


def sample(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Show one sample: each parameter, its value, the limit of each set, the verdict, what is missing."""
    visit = enter(request, site, Act.SEE)
    rows = GasSample.objects.select_related("equipment", "bank", "analyser", "work", "evidence")
    row = get_object_or_404(rows, pk=pk, site=visit.site)
    wrong = wrong_gas_words(row.judged, row.values.get("o2"))
    context = context_of(
        visit, row=row, standing=standing_of_sample(row), point=POINTS[row.point][0], sets=shown_sets(row.judged),
        wrong=wrong, reasons=[one for one in reasons_of(row) if one != wrong],
        differ=note_on_sets(row.judged), may_raise=visit.may(Act.DEFECT), defect=_defect_address(row, site),
    )  # fmt: skip
    return render(request, "maintenance/gas_room/sample.html", context)


def _defect_address(row: GasSample, site: str) -> str:
    """Return the address that raises a defect on what was sampled, with what was found."""
    if row.passed is not False or (row.equipment_id is None and row.bank_id is None):
        return ""
    about = {"equipment": row.equipment_id} if row.equipment_id else {"bank": row.bank_id}
    what = _("Gas sample: %s") % " ".join(reasons_of(row))
    query = urlencode(about | {"what": what[:300], "effect": "stops"})
    return f"{reverse('maintenance:raise_defect', args=[site])}?{query}"
