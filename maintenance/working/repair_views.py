"""Pages of the way back: record a repair, test and return to service."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _

from facility import events, evidence, house
from facility.access import Act, Visit, enter
from facility.fields import refuse
from facility.services import ChangedMeanwhileError
from maintenance.models import Repair, WorkRecord, WorkResult
from maintenance.services import add_repair, return_after_test
from maintenance.services.returning import repairs_of
from maintenance.views import defect_of
from maintenance.working import taking
from maintenance.working.kinds_general import RETURN_TEST
from maintenance.working.repair_forms import RepairForm, ReturnForm
from maintenance.working.views import page, today_at

if TYPE_CHECKING:
    from maintenance.models import Defect


def repair(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Record what was done about a defect; the tag stays on."""
    visit = enter(request, site, Act.PLANT)
    row = defect_of(visit, pk)
    now = events.now()
    form = RepairForm(
        request.POST or None, request.FILES or None, initial={"done_at": now, "done_by": visit.actor.name}
    )
    form.open_at(visit.site, now)
    if form.is_valid():
        try:
            _store_repair(form, row, visit)
        except ValidationError as error:
            refuse(form, error)
        else:
            messages.success(request, _("The repair is recorded. The tag stays on until a test has passed."))
            return redirect("maintenance:defect", site, pk)
    return render(
        request,
        "maintenance/working/repair.html",
        page(visit, form=form, row=row),
        status=422 if form.is_bound else 200,
    )


@transaction.atomic
def _store_repair(form: RepairForm, row: Defect, visit: Visit) -> Repair:
    typed = form.cleaned_data
    paper = evidence.accept(typed["upload"], site=visit.site, by=visit.actor) if typed["upload"] else None
    late_after = timedelta(minutes=int(house.values(visit.site)["late_entry_min"]))
    names = ("done_at", "done_by", "what", "parts", "cost", "currency")
    made = Repair(defect=row, evidence=paper, **{name: typed[name] for name in names})
    late = events.now() - typed["done_at"] > late_after
    return add_repair(made, by=visit.actor, late=late, changed=not typed["nothing_changed"])


def return_to_service(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Record the return-to-service test, signed with the password; if it passed, the tag is off."""
    visit = enter(request, site, Act.RETURN)
    row = defect_of(visit, pk)
    now = events.now()
    form = ReturnForm(request.POST or None, initial={"at": now, "shown_version": row.row_version}, request=request)
    form.open_at(row, visit.actor.user_id, now)
    form.start(RETURN_TEST, today_at(visit))
    if form.is_valid():
        try:
            stored = _return(form, row, visit)
        except ChangedMeanwhileError as error:
            form.add_error(None, error)
        except ValidationError as error:
            refuse(form, error)
        else:
            _tell(request, stored)
            return redirect("maintenance:defect", site, pk)
    context = page(visit, form=form, row=row, kind=RETURN_TEST, repairs=repairs_of(row))
    return render(request, "maintenance/return.html", context, status=422 if form.is_bound else 200)


def _return(form: ReturnForm, row: Defect, visit: Visit) -> Defect:
    back, typed = form.to_return(), form.cleaned_data
    if row.equipment_id is None:
        if typed["result"] != WorkResult.PASSED:
            raise ValidationError({"result": _("The test did not pass: the tag stays on until one has.")})
        return return_after_test(row, back, by=visit.actor, shown_version=typed["shown_version"])
    test = WorkRecord(result=typed["result"], rule=typed["rule"])
    taking.put_found(test, form)
    return return_after_test(row, replace(back, test=test), by=visit.actor, shown_version=typed["shown_version"])


def _tell(request: HttpRequest, row: Defect) -> None:
    if row.returned_at is None:
        messages.warning(
            request, _("The test is recorded. It did not pass: tag %(number)04d stays on.") % {"number": row.number}
        )
    else:
        messages.success(request, _("Tag %(number)04d is off: returned to service.") % {"number": row.number})
