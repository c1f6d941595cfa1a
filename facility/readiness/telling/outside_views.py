"""The availability statement as a paper, and the public status of a site."""

from __future__ import annotations

import logging
from typing import TYPE_CHECKING

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from facility import events
from facility.access import Act, enter
from facility.compute.instants import format_instant, instant_of
from facility.models import Site
from facility.papers.printing import PrintingError, as_answer, pdf_of, size_asked
from facility.readiness.services import caution
from facility.readiness.telling.availability import availability, call_words, is_public, public
from facility.trust.printed import newest_head

if TYPE_CHECKING:
    from facility.http import StaffRequest

log = logging.getLogger(__name__)


@require_safe
def statement(request: StaffRequest, site: str) -> HttpResponse:
    """Send the availability statement as a PDF."""
    visit = enter(request, site, Act.SEE)
    newest = events.newest_seq()
    told = availability(visit.site, events.now())
    context = {
        "visit": visit, "told": told, "call_words": call_words(), "caution": caution(), "printed_by": visit.actor.name,
        "signed_head": newest_head(), "newest_event": newest,
    }  # fmt: skip
    try:
        pdf = pdf_of("readiness/telling/statement_paper.html", context, size_asked(request))
    except PrintingError:
        log.exception("no availability statement of %s", site)
        messages.error(request, _("The PDF could not be made here; what is missing stands in the log of the box."))
        return redirect("readiness:now", site)
    return as_answer(pdf, f"availability-{site}-{told.at:%Y%m%d-%H%M}.pdf")


def _shown_site(key: str) -> Site:
    """Return a site that shows its state in public. Errors: Http404, the same for no site and for one that does not."""
    site = Site.objects.filter(key=key, retired_at=None).first()
    if site is None or not is_public(site):
        raise Http404
    return site


@login_not_required
@require_safe
@never_cache
def status(request: HttpRequest, site: str) -> HttpResponse:
    """Show the public status."""
    shown = _shown_site(site)
    context = {"shown": shown, "told": public(shown), "call_words": call_words(), "caution": caution()}
    return render(request, "readiness/telling/status.html", context)


@login_not_required
@require_safe
@never_cache
def status_json(request: HttpRequest, site: str) -> HttpResponse:
    """Answer with the public status as JSON; no state may be shown after its ``not_after``."""
    shown = _shown_site(site)
    told = public(shown)
    tables = [
        {
            "chamber": one.chamber, "table": one.plan, "party": one.party, "state": one.state,
            "as_known_at": format_instant(instant_of(told.at)), "not_after": format_instant(instant_of(one.not_after)),
        }
        for one in told.lines
    ]  # fmt: skip
    found = {
        "site": shown.key, "name": shown.name, "as_known_at": format_instant(instant_of(told.at)), "line": told.said,
        "tables": tables, "call_first": call_words(),
        "numbers": [{"name": one.name, "phone": one.phone} for one in told.numbers],
        "caution": caution(),
    }  # fmt: skip
    return JsonResponse(found, json_dumps_params={"ensure_ascii": False, "indent": 2})
