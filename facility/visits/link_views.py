"""Making and revoking reading links."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from facility import events, services
from facility.access import Act, enter
from facility.fields import refuse
from facility.models import ReadingLink
from facility.visits.forms import SHOWN, LinkForm, RevokeForm
from facility.visits.services import open_door
from facility.visits.views import UNPROCESSABLE, context_of

if TYPE_CHECKING:
    from django.http import HttpResponse

    from facility.http import StaffRequest

USUAL = timedelta(days=14)
"""What the form offers (common practice, no source)."""


def links(request: StaffRequest, site: str) -> HttpResponse:
    """List the reading links; a form makes one, whose address is shown on this one page only."""
    visit = enter(request, site, Act.PACK)
    now = events.now()
    form = LinkForm(
        request.POST or None, instance=ReadingLink(site=visit.site), initial={"opens_at": now, "ends_at": now + USUAL}
    )
    form.open_at(visit.site)
    address = ""
    if form.is_valid():
        try:
            _row, secret = open_door(form.instance, by=visit.actor)
        except ValidationError as error:
            refuse(form, error)
        else:
            address = request.build_absolute_uri(reverse("visits:look", args=[secret]))
    rows = ReadingLink.objects.filter(site=visit.site).select_related("chamber")
    lines = [(_mark(row, now), row, dict(SHOWN).get(row.scope, row.scope)) for row in rows]
    refused = form.is_bound and not address
    context = context_of(visit, lines=lines, form=form, address=address, refused=refused, now=now)
    return render(request, "visits/links.html", context, status=UNPROCESSABLE if refused else 200)


def _mark(row: ReadingLink, now: object) -> str:
    if row.retired_at is not None or row.ends_at <= now:  # type: ignore[operator]  # an instant
        return "open"
    return "indate"


@require_POST
def revoke(request: StaffRequest, site: str, pk: int) -> HttpResponse:
    """Shut a link before its end."""
    visit = enter(request, site, Act.PACK)
    row = get_object_or_404(ReadingLink, pk=pk, site=visit.site)
    form = RevokeForm(request.POST)
    try:
        services.retire(row, by=visit.actor, reason=form.data.get("reason", ""), action="reading link revoked")
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, _("The link of %(name)s is shut.") % {"name": row.name})
    return redirect("visits:links", site)
