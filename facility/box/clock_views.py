"""Where a director says that the clock, which was ahead, is right again."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _

from facility import events
from facility.access import Act, enter
from facility.box.forms import ClockForm
from facility.fields import refuse
from facility.trust import clock

if TYPE_CHECKING:
    from django.http import HttpResponse

    from facility.http import StaffRequest

UNPROCESSABLE = 422


def right_again(request: StaffRequest, site: str) -> HttpResponse:
    """Show what is ahead of the clock, and take reason, password and the time that another clock shows."""
    visit = enter(request, site, Act.ACCOUNTS)
    form, at = ClockForm(request.POST or None, request=request, zone=visit.site.zone), events.now()
    if form.is_valid():
        try:
            clock.right_again(form.cleaned_data["reason"], form.cleaned_data["now"], at=at, by=visit.actor)
        except ValidationError as error:
            refuse(form, error)
        else:
            messages.success(request, _("Kept. Days are reckoned again; each page says for a while that you said so."))
            return redirect("readiness:now", site)
    context = {"visit": visit, "place": "setup", "form": form, "ahead": clock.newest_ahead(at), "at": at}
    return render(request, "box/clock.html", context, status=UNPROCESSABLE if form.is_bound else 200)
