"""The second look at days that were read off a paper: another person reads them again, or refuses the first reading."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _

from facility.access import Act, Visit, enter
from facility.compute.typed import whole
from facility.fields import refuse
from facility.services import ChangedMeanwhileError
from maintenance.services import confirm_days, refuse_days
from maintenance.working import taking
from maintenance.working.forms import SecondLookForm, SecondRefusalForm
from maintenance.working.views import page, record_of, today_at

if TYPE_CHECKING:
    from maintenance.models import WorkRecord


def second_look_work(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Let another person read the days again; ``refuse`` in the address: put right what the first one read."""
    visit = enter(request, site, Act.PLANT)
    row = record_of(visit, pk)
    refusing = request.GET.get("refuse") == "1"
    form = (SecondRefusalForm if refusing else SecondLookForm)(request.POST or None)
    if form.is_valid():
        version = request.POST.get("shown_version", "")
        try:
            stored = _decide(form, row, visit, whole(version))
        except ChangedMeanwhileError as error:
            form.add_error(None, error)
        except ValidationError as error:
            refuse(form, error)
        else:
            messages.success(request, _("The first reading is put right and waits for a look by another person.") if refusing
                             else _("The second look is recorded: the days count."))  # fmt: skip
            return redirect("maintenance:work", site, stored.pk)
    context = page(visit, row=row, form=form, refusing=refusing, stands=row.is_current and row.needs_second_look)
    return render(request, "maintenance/working/second_look.html", context, status=422 if form.is_bound else 200)


def _decide(form: SecondLookForm, row: WorkRecord, visit: Visit, version: int) -> WorkRecord:
    day, month_only = form.cleaned_data["done_on"]
    due_on = form.cleaned_data["due_on"]
    if not isinstance(form, SecondRefusalForm):
        return confirm_days(row, (day, due_on), by=visit.actor, shown_version=version)
    if day > today_at(visit):
        raise ValidationError({"done_on": _("This lies after today at the site. Read it on the paper again.")})
    new = taking.successor(row)
    new.done_on, new.month_only, new.due_on = day, month_only, due_on
    new.details.pop("due_reckoned", None)
    return refuse_days(row, new, by=visit.actor, reason=form.cleaned_data["reason"])
