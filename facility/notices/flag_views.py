"""The flags that stand at a site, each with what to do next; and who answers for which until when."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from facility import events
from facility.access import Act, Visit, enter
from facility.compute.flags import FlagState
from facility.fields import refuse
from facility.models import NoticeKind, Snooze
from facility.notices import acting
from facility.notices.forms import SnoozeForm
from facility.notices.open_lines import OpenLine, open_at
from facility.notices.standing import Standing, seen_by, standing_at, state_words
from facility.notices.views import UNPROCESSABLE, mine
from facility.readiness.services import answers, chambers_of

if TYPE_CHECKING:
    from facility.http import StaffRequest

MARKS: Final = {
    FlagState.LAPSED: "over", FlagState.OVERDUE: "over", FlagState.NEVER: "unknown", FlagState.AHEAD: "gap",
    FlagState.DUE_SOON: "due",
}  # fmt: skip
MOST: Final = 500


def shown_to(visit: Visit, request: StaffRequest) -> list[Standing]:
    """Return the flags that a person may see: one on a person is for that person, supervisors and directors."""
    found = standing_at([visit.site])[visit.site.pk]
    return list(seen_by(found, request.user.pk, all_people=visit.may(Act.PEOPLE)))


def opened_to(visit: Visit) -> list[OpenLine]:
    """Return what is open that a person may see."""
    found = open_at(visit.site, list(answers(chambers_of(visit.site), events.now())))
    return [one for one in found if visit.may(Act.PEOPLE) or not one.of_a_person]


def flags(request: StaffRequest, site: str) -> HttpResponse:
    """List what stands, the most pressing first."""
    visit = enter(request, site, Act.SEE)
    now = events.now()
    found = shown_to(visit, request)
    snoozes = {
        row.thing: row
        for row in Snooze.objects.filter(site=visit.site, retired_at=None, until__gt=now).select_related("owner")
    }
    context = {
        "visit": visit, "place": "records", "more": max(len(found) - MOST, 0), "may_snooze": visit.may(Act.PLANT),
        "lines": [(MARKS[one.state], state_words(one.state), one, snoozes.get(one.thing)) for one in found[:MOST]],
        "opened": [("open", "", one, snoozes.get(one.thing)) for one in opened_to(visit)[:MOST]],
    }  # fmt: skip
    return render(request, "notices/flags.html", context)


def snooze(request: StaffRequest, site: str) -> HttpResponse:
    """Let somebody answer for a thing until an end; until then it is in no notice, and stays on every page."""
    visit = enter(request, site, Act.PLANT)
    thing = request.POST.get("thing", "") or request.GET.get("thing", "")
    title = _title(visit, request, thing)
    form = SnoozeForm(request.POST or None, initial={"owner": request.user.pk})
    form.open_at(visit.site)
    if request.method == "POST" and form.is_valid():
        typed = form.cleaned_data
        row = Snooze(site=visit.site, thing=thing, owner=typed["owner"], until=typed["until"], why=typed["why"])
        try:
            acting.snooze(row, by=visit.actor)
        except ValidationError as error:
            refuse(form, error)
        else:
            messages.success(
                request, _("Kept. It stands on the pages as before, and comes back into notices at the end.")
            )
            return redirect("notices:flags", site)
    context: dict[str, Any] = {"visit": visit, "place": "records", "form": form, "thing": thing, "title": title}
    return render(request, "notices/snooze.html", context, status=UNPROCESSABLE if form.errors else 200)


def _title(visit: Visit, request: StaffRequest, thing: str) -> str:
    """Return what a thing is called. Errors: Http404 for one that this person was told nothing of."""
    stands: list[Standing | OpenLine] = [*shown_to(visit, request), *opened_to(visit)]
    title = next((f"{one.title}, {one.said}" for one in stands if one.thing == thing), "")
    if title or not thing:
        return title or _none()
    rows = mine(visit, request).exclude(kind=NoticeKind.DIGEST).order_by("-pk")[:200]
    return next((one.subject for one in rows if thing in one.things), "") or _none()


def _none() -> str:
    raise Http404


@require_POST
def wake(request: StaffRequest, site: str, pk: int) -> HttpResponse:
    """End a snooze before its time, with a reason."""
    visit = enter(request, site, Act.PLANT)
    row = get_object_or_404(Snooze, pk=pk, site=visit.site)
    try:
        acting.wake(row, by=visit.actor, reason=request.POST.get("reason", ""))
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, _("It is in notices again."))
    return redirect("notices:flags", site)
