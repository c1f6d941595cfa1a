"""Pages of the worksheets: the list, and one page for each. Nothing is stored."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _

from facility.compute.worksheet import InputError
from facility.compute.worksheet_reading import run
from facility.worksheets.catalogue import worksheets
from facility.worksheets.forms import WorksheetForm, examples
from facility.worksheets.shown import lines, sourced

if TYPE_CHECKING:
    from facility.compute.worksheet import Worksheet


def every(request: HttpRequest) -> HttpResponse:
    """List all worksheets."""
    rows = [{"name": one.name, "title": _(one.title), "source": one.source} for one in worksheets().values()]
    return render(request, "worksheets/every.html", {"rows": rows, "place": "worksheets"})


def worksheet(request: HttpRequest, name: str) -> HttpResponse:
    """Show one worksheet, filled with its example; with inputs sent to it, also the result."""
    found = worksheets().get(name)
    if found is None:
        raise Http404
    bound = request.method == "POST"
    form = WorksheetForm(found, request.POST if bound else None, initial=examples(found))
    context: dict[str, Any] = {
        "worksheet": found,
        "title": _(found.title),
        "formula": _(found.formula),
        "caution": _(found.caution),
        "form": form,
        "values": sourced(found),
        "place": "worksheets",
    }
    if form.is_valid():
        context["result"] = _result(found, form)
    return render(request, "worksheets/worksheet.html", context, status=422 if bound and form.errors else 200)


def _result(found: Worksheet, form: WorksheetForm) -> object:
    """Return the lines of the result; a refusal of the computation stands at its field, or above the form."""
    given = form.cleaned_data
    try:
        return lines(found, run(found, given), given)
    except ValueError as fault:
        name = fault.name if isinstance(fault, InputError) and fault.name in form.fields else None
        form.add_error(name, fault.reason if isinstance(fault, InputError) and name else str(fault))
        return None
