"""The page that makes and revokes calendar addresses, and the calendars themselves."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from facility import events
from facility.access import Act, Visit, enter
from facility.feeds import days, services, text
from facility.feeds.forms import FeedForm
from facility.fields import refuse
from facility.models import CalendarFeed
from facility.rate import too_many
from facility.trust.keys import box_name

if TYPE_CHECKING:
    from django.db.models import QuerySet
    from django.http import HttpRequest

    from facility.http import StaffRequest

UNPROCESSABLE, TOO_MANY = 422, 429
MOST, SPAN_S = 60, 600
"""Answers by one secret and span, and to one sender without a right one; calendars ask a few times an hour.

Readers behind one router or proxy do not slow each other. Common practice, no source.
"""


def _shown(visit: Visit, request: StaffRequest) -> QuerySet[CalendarFeed]:
    """Return whose addresses a person may see and revoke: their own, or all with the accounts."""
    rows = CalendarFeed.objects.filter(site=visit.site).select_related("user")
    return rows if visit.may(Act.ACCOUNTS) else rows.filter(user=request.user)


def calendars(request: StaffRequest, site: str) -> HttpResponse:
    """List calendar addresses and make one; its secret is shown in this answer alone."""
    visit = enter(request, site, Act.SEE)
    form = FeedForm(request.POST or None)
    address = ""
    if request.method == "POST" and form.is_valid():
        try:
            _row, secret = services.make(visit.site, request.user, form.cleaned_data["sort"], by=visit.actor)
        except ValidationError as error:
            refuse(form, error)
        else:
            address, form = request.build_absolute_uri(reverse("feeds:calendar", args=[secret])), FeedForm()
    rows = _shown(visit, request).order_by("retired_at", "-pk")
    context: dict[str, Any] = {
        "visit": visit, "place": "records", "form": form, "address": address, "rows": list(rows[:100]),
    }  # fmt: skip
    return render(request, "feeds/calendars.html", context, status=UNPROCESSABLE if form.errors else 200)


@require_POST
def revoke(request: StaffRequest, site: str, pk: int) -> HttpResponse:
    """Revoke an address, with a reason."""
    visit = enter(request, site, Act.SEE)
    row = get_object_or_404(_shown(visit, request), pk=pk)
    try:
        services.revoke(row, by=visit.actor, reason=request.POST.get("reason", ""))
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, _("Revoked: the address answers no longer."))
    return redirect("feeds:calendars", site)


@login_not_required
@require_safe
@never_cache
def calendar(request: HttpRequest, secret: str) -> HttpResponse:
    """Answer with a calendar to whoever has its address."""
    feed = services.feed_of(secret)
    asker = f"address:{request.META.get('REMOTE_ADDR', '')}" if feed is None else f"feed:{feed.pk}"
    if too_many(f"calendar:{asker}", MOST, SPAN_S):
        return HttpResponse(
            _("Asked too often. Ask again in ten minutes.") + "\n",
            status=TOO_MANY, content_type="text/plain; charset=utf-8", headers={"Retry-After": str(SPAN_S)},
        )  # fmt: skip
    if feed is None:
        raise Http404
    at = events.now()
    services.note_read(feed, at)
    name = f"{feed.site.name}: {feed.get_sort_display()}"
    body = text.written(name, f"{feed.site.key}.{box_name()}", days.days_of(feed, at), days.revised(feed.site, at))
    return HttpResponse(body, content_type=text.CONTENT_TYPE, headers={"X-Robots-Tag": "noindex"})
