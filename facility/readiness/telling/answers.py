"""The forecast and the what-if as JSON, in the shapes of the readiness facts. Nothing is stored."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.http import HttpRequest, HttpResponse, HttpResponseNotAllowed, JsonResponse
from django.utils.translation import gettext as _

from facility import events
from facility.compute.changes import load_changes
from facility.compute.findings import dump_comparison, dump_forecast
from facility.compute.forecast import forecast
from facility.compute.instants import FactsError, format_instant
from facility.compute.whatif import what_if
from facility.readiness import services, shell
from facility.readiness.ahead import whatif_shell
from facility.readiness.ahead.coming import caution_of_forecast
from facility.readiness.telling.token import token_or_account

if TYPE_CHECKING:
    from facility.models import Site
    from facility.readiness.services import Answer, Plain

MOST_BYTES = 256 * 1024
BAD, TOO_LARGE = 400, 413


@token_or_account
def forecast_json(request: HttpRequest, site: Site) -> HttpResponse:
    """Answer with the steps of one plan over the coming 90 days: ``plan``, and as wanted ``chamber`` and ``at``."""
    if request.method not in ("GET", "HEAD"):
        return HttpResponseNotAllowed(["GET", "HEAD"])
    try:
        answer, plan = _asked(request, site)
    except FactsError as error:
        return JsonResponse({"error": str(error)}, status=BAD)
    steps = dump_forecast(forecast(answer.facts, plan, answer.at))
    return _said(answer, plan, {"steps": steps, "assumed": caution_of_forecast()})


@token_or_account
def what_if_json(request: HttpRequest, site: Site) -> HttpResponse:
    """Answer with one plan before and after the changes in the body; ``plan``, ``chamber`` and ``at`` as above."""
    if request.method != "POST":
        return HttpResponseNotAllowed(["POST"])
    if len(request.body) > MOST_BYTES:
        words = _("The changes are longer than %(n)d bytes. Ask with fewer.") % {"n": MOST_BYTES}
        return JsonResponse({"error": words}, status=TOO_LARGE)
    try:
        answer, plan = _asked(request, site)
        compared = what_if(answer.facts, plan, answer.at, load_changes(_text(request)))
    except FactsError as error:
        return JsonResponse({"error": str(error)}, status=BAD)
    return _said(answer, plan, dump_comparison(compared))


def _asked(request: HttpRequest, site: Site) -> tuple[Answer, str]:
    """Return the answer for the chamber of the plan asked for. Errors: AskedWrongError naming what exists."""
    plan = request.GET.get("plan", "")
    if not plan:
        raise shell.AskedWrongError(_("Name the plan: add plan=KEY to the address."))
    question = shell.asked(site.key, request.GET.get("chamber"), request.GET.get("at"), events.now())
    return whatif_shell.answer_with(question, plan), plan


def _text(request: HttpRequest) -> str:
    """Return the body as text. Errors: AskedWrongError if it is no UTF-8."""
    try:
        return request.body.decode()
    except UnicodeDecodeError:
        raise shell.AskedWrongError(_("The body is not UTF-8 text. Send JSON in UTF-8.")) from None


def _said(answer: Answer, plan: str, found: Plain) -> JsonResponse:
    head = {"chamber": answer.chamber.key, "plan": plan, "at": format_instant(answer.at)}
    return JsonResponse(
        head | found | {"caution": services.caution()}, json_dumps_params={"ensure_ascii": False, "indent": 2}
    )
