"""Pages that follow a thread: the checks of a day, a person's deeds, what changed since the last pack."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from facility.access import Act, enter
from facility.fields import day_text
from facility.models import Person
from facility.visits.day import checks_of
from facility.visits.forms import DayForm
from facility.visits.person import trail_of
from facility.visits.retention import identities, kinds
from facility.visits.since import since_last_pack
from facility.visits.views import UNPROCESSABLE, context_of, today_at

if TYPE_CHECKING:
    from django.http import HttpResponse

    from facility.http import StaffRequest


@require_safe
def day(request: StaffRequest, site: str) -> HttpResponse:
    """Show every check of one civil day, step by step."""
    visit = enter(request, site, Act.SEE)
    form = DayForm(request.GET if "day" in request.GET else {"day": day_text(today_at(visit))})
    asked = form.cleaned_data["day"] if form.is_valid() else None
    found = checks_of(visit.site, None, asked) if asked is not None else []
    context = context_of(visit, form=form, day=asked, found=found)
    return render(request, "visits/day.html", context, status=UNPROCESSABLE if form.errors else 200)


@require_safe
def person(request: StaffRequest, site: str, pk: int) -> HttpResponse:
    """Show what a person did, and what was in date for them on each day."""
    visit = enter(request, site, Act.SEE)
    row = get_object_or_404(Person.objects.select_related("user", "site"), pk=pk, site=visit.site)
    return render(request, "visits/person.html", context_of(visit, trail=trail_of(row)))


@require_safe
def since(request: StaffRequest, site: str) -> HttpResponse:
    """Show what changed since the last pack was built."""
    visit = enter(request, site, Act.SEE)
    return render(request, "visits/since.html", context_of(visit, found=since_last_pack(visit.site)))


@require_safe
def retention(request: StaffRequest, site: str) -> HttpResponse:
    """Show how long records are kept, and which identities are past their time."""
    visit = enter(request, site, Act.SEE)
    today = today_at(visit)
    context = context_of(
        visit,
        kinds=kinds(visit.site, today),
        identities=identities(visit.site, today),
        may_patient=visit.may(Act.PATIENT),
    )
    return render(request, "visits/retention.html", context)
