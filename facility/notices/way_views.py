"""The ways on which one is told, tried by a button, and the log of what went out. Directors see the site's own too."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST, require_safe

from facility import events
from facility.access import Act, Visit, enter
from facility.fields import refuse
from facility.models import NoticeWay, Way
from facility.notices import log, mail, ways
from facility.notices.way_forms import WayForm
from facility.rate import too_many

if TYPE_CHECKING:
    from django.db.models import QuerySet
    from django.http import HttpResponse

    from facility.http import StaffRequest

UNPROCESSABLE: Final = 422
MOST_TESTS, SPAN_S = 10, 600
"""Tests that one account may send in a span; common practice, no source."""


def _open_to(visit: Visit, request: StaffRequest) -> QuerySet[NoticeWay]:
    """Return the ways that a person may try and retire: their own, with the accounts also the site's and others'."""
    rows = NoticeWay.objects.filter(site=visit.site).select_related("site")
    return rows if visit.may(Act.ACCOUNTS) else rows.filter(user=request.user)


@sensitive_post_parameters("address", "secret")
def ways_page(request: StaffRequest, site: str) -> HttpResponse:
    """List one's ways and add one; the secret of a webhook is shown in this answer alone."""
    visit = enter(request, site, Act.SEE)
    for_site = visit.may(Act.ACCOUNTS)
    form = WayForm(request.POST or None, for_site=for_site, initial={"address": request.user.email})
    made: NoticeWay | None = None
    if request.method == "POST" and form.is_valid():
        made = _added(form, visit, request)
        if made is not None and made.way != Way.WEBHOOK:
            messages.success(request, _("Added. Try it with its button: then you know that notices arrive."))
            return redirect("notices:ways", site)
        form = form if made is None else WayForm(for_site=for_site)
    context: dict[str, Any] = {
        "visit": visit, "place": "records", "form": form, "made": made, "for_site": for_site,
        "mine": log.ways_of(visit.site, request.user, whole=True),
        "own": log.ways_of(visit.site, None, whole=False) if for_site else [], "has_mail": mail.is_set_up(),
    }  # fmt: skip
    return render(request, "notices/ways.html", context, status=UNPROCESSABLE if form.errors else 200)


def _added(form: WayForm, visit: Visit, request: StaffRequest) -> NoticeWay | None:
    """Store the way of a form; None if it is refused, with the words beside the field."""
    typed = form.cleaned_data
    user = None if form.is_for_site else request.user
    secret = typed["secret"] if typed["way"] == Way.PUSH else ""
    row = NoticeWay(site=visit.site, user=user, way=typed["way"], address=typed["address"], secret=secret)
    try:
        return ways.add(row, by=visit.actor)
    except ValidationError as error:
        refuse(form, error)
        return None


@require_POST
def retire_way(request: StaffRequest, site: str, pk: int) -> HttpResponse:
    """Retire a way, with a reason."""
    visit = enter(request, site, Act.SEE)
    row = get_object_or_404(_open_to(visit, request), pk=pk)
    try:
        ways.retire(row, by=visit.actor, reason=request.POST.get("reason", ""))
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, _("Retired: nothing is sent there any more."))
    return redirect("notices:ways", site)


@require_POST
def try_way(request: StaffRequest, site: str, pk: int) -> HttpResponse:
    """Send a test at once, as notices are sent, and say how it ended."""
    visit = enter(request, site, Act.SEE)
    row = get_object_or_404(_open_to(visit, request).filter(retired_at=None), pk=pk)
    if too_many(f"notice-tests:{request.user.pk}", MOST_TESTS, SPAN_S):
        messages.error(request, _("Too many tests in ten minutes. Look whether the earlier ones arrived."))
        return redirect("notices:ways", site)
    ended = ways.try_out(row, by=visit.actor)
    if ended.sent_at is not None:
        messages.success(request, _("The far side took the test. Look whether it arrived."))
    else:
        messages.error(request, _("The test did not go out. %(why)s") % {"why": ended.error})
    return redirect("notices:ways", site)


@require_safe
def way_log(request: StaffRequest, site: str) -> HttpResponse:
    """Show what went out: one's own, or with the accounts everybody's."""
    visit = enter(request, site, Act.SEE)
    everybody = visit.may(Act.ACCOUNTS)
    rows = log.entries(visit.site, None if everybody else request.user, now=events.now())
    context = {"visit": visit, "place": "records", "rows": rows, "everybody": everybody, "most": log.SHOWN}
    return render(request, "notices/ways_log.html", context)
