"""Pages of packs: what was built, asking for one, how far it is, taking it away."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import FileResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from facility import events
from facility.access import Act, enter
from facility.fields import refuse
from facility.models import Job, Pack, PackState
from facility.pack import building, released, scope, services
from facility.pack.forms import PackForm

if TYPE_CHECKING:
    from django.http import HttpResponse, HttpResponseBase

    from facility.access import Visit
    from facility.http import StaffRequest

UNPROCESSABLE = 422
SHOWN = 200
YEAR = timedelta(days=365)
MARKS = {PackState.ASKED: "due", PackState.BUILT: "indate", PackState.FAILED: "over"}


def _context(visit: Visit, **more: Any) -> dict[str, Any]:
    return {"visit": visit, "place": "records", **more}


def packs(request: StaffRequest, site: str) -> HttpResponse:
    """List the packs of a site, newest first; a form asks for another."""
    visit = enter(request, site, Act.PACK)
    today = events.now().astimezone(ZoneInfo(visit.site.zone)).date()
    form = PackForm(
        request.POST or None, instance=Pack(site=visit.site), initial={"from_day": today - YEAR, "to_day": today}
    )
    form.open_at(visit.site)
    if form.is_valid():
        try:
            pack = services.ask(form.instance, form.cleaned_data["releases"], by=visit.actor)
        except ValidationError as error:
            refuse(form, error)
        else:
            messages.success(request, _("The pack is being built."))
            return redirect("pack:pack", site, pack.number)
    words = dict(scope.choices(visit.site))
    rows = Pack.objects.filter(site=visit.site).order_by("-number")[:SHOWN]
    lines = [(MARKS[PackState(row.state)], row, words.get(row.scope, row.scope)) for row in rows]
    context = _context(visit, form=form, lines=lines)
    return render(request, "pack/packs.html", context, status=UNPROCESSABLE if form.is_bound else 200)


def pack(request: StaffRequest, site: str, number: int) -> HttpResponse:
    """Show a pack: how far it is, what is in it, and where to take it away."""
    visit = enter(request, site, Act.PACK)
    row = get_object_or_404(Pack.objects.select_related("site"), site=visit.site, number=number)
    job = Job.objects.filter(pk=row.job).first() if row.job else None
    context = _context(
        visit, row=row, job=job, mark=MARKS[PackState(row.state)], about=scope.words_of(row.scope, visit.site),
        releases=[(released.table_of(one.model).name, one) for one in released.of(row)],
        there=building.path_of(row).is_file(),
    )  # fmt: skip
    return render(request, "pack/pack.html", context)


@require_POST
def again(request: StaffRequest, site: str, number: int) -> HttpResponse:
    """Build a pack once more that could not be built."""
    visit = enter(request, site, Act.PACK)
    row = get_object_or_404(Pack.objects.select_related("site"), site=visit.site, number=number)
    try:
        services.ask_again(row, by=visit.actor)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return redirect("pack:pack", site, number)


@require_POST
def fetch(request: StaffRequest, site: str, number: int) -> HttpResponseBase:
    """Hand out the zip; that it was fetched, and by whom, is an event."""
    visit = enter(request, site, Act.PACK)
    row = get_object_or_404(Pack.objects.select_related("site"), site=visit.site, number=number)
    path = building.path_of(row)
    if row.state != PackState.BUILT or not path.is_file():
        messages.error(request, _("Pack %(number)d does not lie here. Ask for it anew.") % {"number": number})
        return redirect("pack:pack", site, number)
    services.note_fetched(row, by=visit.actor)
    answer = FileResponse(path.open("rb"), as_attachment=True, filename=path.name, content_type="application/zip")
    answer["Cache-Control"] = "no-store"
    answer["X-Content-Type-Options"] = "nosniff"
    return answer
