"""The organisation's page, and the same as JSON for programs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse, HttpResponseNotAllowed, JsonResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from facility import events
from facility.fleet.answers import plain
from facility.fleet.board import MARKS, Asked, board
from facility.fleet.contacts import with_phones
from facility.fleet.lines import line_of
from facility.fleet.scope import every_chamber, scope_of
from facility.readiness.services import caution
from facility.readiness.telling.availability import call_words
from facility.readiness.telling.token import token_or_signed_in

if TYPE_CHECKING:
    from facility.fleet.board import Board
    from facility.http import StaffRequest
    from facility.models import User

ON_A_PAGE = 100
REFRESH_S, AWAITED_S = 60, 10
"""After how long a page asks for itself again, and while the job reckons answers for it. A design choice, no source."""
LONGEST = 100
"""Letters of what is looked for; more is cut off."""
BAD, FORBIDDEN = 400, 403
MOST_BARE = 50
"""Sites without a chamber that are named. A design choice, no source."""


def asked_of(request: HttpRequest) -> Asked:
    """Return what is looked for."""
    table, state, site = (
        request.GET.get(name, "").replace("\0", "").strip()[:LONGEST] for name in ("table", "state", "site")
    )
    return Asked(table, state, site)


def refusal_of(asked: Asked, found: Board | None = None) -> str:
    """Say what was asked wrongly and what there is; nothing if all is well."""
    if asked.state and asked.state not in MARKS:
        said = {"state": asked.state, "known": ", ".join(MARKS)}
        return _("There is no state “%(state)s”. Ask for one of: %(known)s.") % said
    if found is not None and asked.table and found.tables:
        said = {"table": asked.table, "known": ", ".join(found.tables[:20])}
        return _("No plan has all the words “%(table)s”. Plans there are: %(known)s.") % said
    return ""


@require_safe
def organisation(request: StaffRequest) -> HttpResponse:
    """Show every chamber of the sites where the account has a role; with one site lead to that."""
    scope = scope_of(request.user)
    if scope.only:
        return redirect("readiness:now", scope.only)
    if not scope.many:
        return redirect("readiness:home")
    asked, at = asked_of(request), events.now()
    found = board(scope.chambers, asked, at)
    page = Paginator(found.rows, ON_A_PAGE).get_page(request.GET.get("page"))
    lines = [line_of(row) for row in page]
    context = {
        "asked": asked, "found": found, "page": page, "at": at, "said": refusal_of(asked, found),
        "refresh_s": AWAITED_S if found.renewed_soon else REFRESH_S,
        "lines": with_phones(lines) if asked.table else lines,
        "counts": _counts(found, asked), "more": _query(asked),
        "notices": found.notices, "caution": caution(), "call_words": call_words(),
        "bare": list(scope.bare[:MOST_BARE]),
        "several": len({line.organisation for line in lines}) > 1,
    }  # fmt: skip
    return render(request, "fleet/organisation.html", context)


def _counts(found: Board, asked: Asked) -> list[dict[str, Any]]:
    """Return each state with its number and the address that shows only that one, or all again."""
    return [
        {
            "mark": mark, "state": str(state), "number": found.counts[mark], "chosen": asked.state == mark,
            "url": "?" + _query(Asked(asked.table, "" if asked.state == mark else mark, asked.site)),
        }
        for mark, state in MARKS.items()
    ]  # fmt: skip


def _query(asked: Asked) -> str:
    """Write what is looked for as part of an address."""
    given = {"table": asked.table, "state": asked.state, "site": asked.site}
    return urlencode({name: text for name, text in given.items() if text})


@token_or_signed_in
def organisation_json(request: HttpRequest, user: User | None) -> HttpResponse:
    """Answer in JSON: with the token of programs every chamber of the box, else those of the account's sites."""
    if request.method not in ("GET", "HEAD"):
        return HttpResponseNotAllowed(["GET", "HEAD"])
    asked = asked_of(request)
    if words := refusal_of(asked):
        return JsonResponse({"error": words}, status=BAD)
    if user is None:
        chambers = every_chamber()
    else:
        scope = scope_of(user)
        if not scope.many and not scope.only:
            words = _("Your account has no role at two sites of one organisation. Ask the director of a site for one.")
            return JsonResponse({"error": words}, status=FORBIDDEN)
        chambers = scope.chambers
    at = events.now()
    found = plain(board(chambers, asked, at), at)
    return JsonResponse(found, json_dumps_params={"ensure_ascii": False, "indent": 2})
