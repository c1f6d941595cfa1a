"""My page, and declaring to be fit or not."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from facility import events, house
from facility.access import Act, Visit, enter
from facility.compute.instants import instant_of
from facility.models import Person
from facility.practice.services import unread_by
from facility.readiness.telling.declaring import declare
from facility.readiness.telling.mine import mine
from facility.readiness.words import when

if TYPE_CHECKING:
    from facility.http import StaffRequest


def _person(request: StaffRequest, visit: Visit) -> Person | None:
    rows = Person.objects.filter(site=visit.site, user=request.user, retired_at=None)
    return rows.select_related("site").first()


@require_safe
def me(request: StaffRequest, site: str) -> HttpResponse:
    """Show the one who is signed in what the record knows of them."""
    visit = enter(request, site, Act.SEE)
    person = _person(request, visit)
    context = {"visit": visit, "place": "people", "person": person}
    if person is not None:
        context |= {
            "mine": mine(person, events.now()), "unread": unread_by(person),
            "least_hours": house.values(visit.site)["declared_at_least_hours"],
        }  # fmt: skip
    return render(request, "readiness/telling/me.html", context)


@require_POST
def declare_fit(request: StaffRequest, site: str) -> HttpResponse:
    """Store whether the one who is signed in declares to be fit today."""
    visit = enter(request, site, Act.SEE)
    person = _person(request, visit)
    said = request.POST.get("fit", "")
    if person is None:
        messages.error(request, _("Your account is nobody of the crew here. Who keeps the people can join them."))
    elif said not in ("yes", "no"):
        messages.error(request, _("Say fit or not fit: the answer “%(said)s” is neither.") % {"said": said[:40]})
    else:
        row = declare(person, fit=said == "yes", by=visit.actor)
        words = (
            _("Declared fit until %(until)s.")
            if row.fit
            else _("Declared not fit until %(until)s: no place counts you.")
        )
        messages.success(request, words % {"until": when(instant_of(row.until), visit.site.zone)})
    return redirect("readiness:me", site)
