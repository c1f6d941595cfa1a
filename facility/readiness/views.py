"""The Now and Why pages, the first page after signing in, and the answer as JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.http import Http404, HttpRequest, HttpResponse, HttpResponseNotAllowed, JsonResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_safe

from facility import events
from facility.access import Act, enter, sites_of
from facility.readiness import fill, services, shell, was_off
from facility.readiness.emergency import crew_sum
from facility.readiness.gas_sums import gas_sums
from facility.readiness.links import link, with_links
from facility.readiness.page_rows import page_rows
from facility.readiness.rows import PlanMeta, PlanRow, plan_row, sentence_of
from facility.readiness.telling.token import token_or_account
from facility.readiness.why import why_of
from treatments.calling import calls

if TYPE_CHECKING:
    from facility.access import Visit
    from facility.gathered import Rows
    from facility.http import StaffRequest
    from facility.models import Chamber, Site
    from facility.readiness.services import Answer

Context = dict[str, Any]


@require_safe
def home(request: StaffRequest) -> HttpResponse:
    """Lead to the person's site; where there is none yet, say what to do first."""
    sites = sites_of(request.user)
    if len(sites) == 1:
        return redirect("readiness:now", sites[0].key)
    acts = {
        "import_url": link("imports:upload"),
        "site_url": link("records:first_site"),
        "may_make": request.user.is_superuser,
    }
    return render(request, "readiness/home.html", {"sites": sites, **acts})


@require_safe
def now_page(request: StaffRequest, site: str, chamber: str = "") -> HttpResponse:
    """Show the answer for one chamber, and what is open at the site."""
    visit = enter(request, site)
    chambers = services.chambers_of(visit.site)
    context: Context = {"visit": visit, "place": "now", "acts": acts_of(visit), "caution": services.caution()}
    if not chambers:
        return render(
            request, "readiness/now.html", context | {"sentence": _("No chamber is recorded yet."), "rows": []}
        )
    shown = _chosen(chambers, chamber)
    at = events.now()
    answer = services.evaluate_chamber(shown, at)
    beside = page_rows(visit.site, chambers)
    rows = [row_of(visit, answer, plan) for plan in answer.facts.plans]
    context |= {
        "chambers": [
            {"name": one.name, "url": link("readiness:now_chamber", site, one.key), "current": one == shown}
            for one in chambers
        ],
        "rows": rows,
        "sentence": sentence_of(rows),
        "open_things": fill.open_things(visit.site, beside, [answer]),
        "unsigned_checks": fill.unsigned_checks(visit.site, beside),
        "on_call": fill.on_call(answer),
        "gas_rows": fill.gas_rows(answer),
        "refused": [row.name for row in rows if row.not_ready],
        "none_can_start": all(row.not_ready for row in rows),
        "call": call_of(visit, shown),
        "flags_url": link("notices:flags", site),
        "was_off": was_off.line_of(beside, at, visit.site.zone),
    }
    return render(request, "readiness/now.html", context | call_first_of(visit, answer, beside, rows))


@require_safe
def why(request: StaffRequest, site: str, chamber: str, plan: str) -> HttpResponse:
    """Show every finding behind one plan's answer."""
    visit = enter(request, site)
    chambers = services.chambers_of(visit.site)
    answer = services.evaluate_chamber(_chosen(chambers, chamber), events.now())
    if plan not in answer.facts.plans:
        raise Http404
    evaluation = with_links(site, answer.plain(plan))
    meta, at = meta_of(visit, answer, plan), answer.records.moment
    row = plan_row(evaluation, meta, at, visit.site.zone)
    crews = crew_sum(answer, plan)
    context = {
        "visit": visit,
        "place": "now",
        "row": row,
        "why": why_of(evaluation, meta, at, visit.site.zone),
        "sums": (*gas_sums(answer, plan), *([crews] if crews else [])),
        "caution": services.caution(),
        "refused": [row.name] if row.not_ready else [],
    }
    if row.not_ready:
        context |= call_first_of(visit, answer, page_rows(visit.site, chambers), [row])
    return render(request, "readiness/why.html", context)


@token_or_account
def api(request: HttpRequest, site: Site) -> HttpResponse:
    """Answer in JSON: the shape of ``manage.py readiness SITE --json``; ``chamber`` and ``at`` as there."""
    if request.method not in ("GET", "HEAD"):
        return HttpResponseNotAllowed(["GET", "HEAD"])
    try:
        question = shell.asked(site.key, request.GET.get("chamber"), request.GET.get("at"), events.now())
    except shell.AskedWrongError as error:
        return JsonResponse({"error": str(error)}, status=400)
    return JsonResponse(shell.plain(question), json_dumps_params={"ensure_ascii": False, "indent": 2})


def _chosen(chambers: list[Chamber], key: str) -> Chamber:
    """Return the chamber of that key, or the first.

    Errors: Http404 if there is none.
    """
    found = next((chamber for chamber in chambers if key in ("", chamber.key)), None)
    if found is None:
        raise Http404
    return found


def acts_of(visit: Visit) -> list[dict[str, str]]:
    """Return the acts that this person may begin from the Now page; the last one stands out."""
    site = visit.site.key
    offered = (
        (Act.SEE, _("Coming 90 days"), link("readiness:ahead", site)),
        (Act.SEE, _("Availability, PDF"), link("readiness:statement", site)),
        (Act.DEFECT, _("Raise defect"), link("maintenance:raise_defect", site)),
        (Act.RUN, _("Start run"), link("treatments:start_run", site)),
        (Act.CHECK, _("Start check"), link("walk:log", site)),
    )
    return [{"words": words, "url": url} for act, words, url in offered if url and visit.may(act)]


def call_of(visit: Visit, chamber: Chamber) -> Context | None:
    """Return the call-out that is on, or where one tap begins one; nothing for those who may not."""
    on = calls.on_now(chamber)
    if on is not None:
        return {"url": link("readiness:call", visit.site.key, on.pk), "began_at": on.began_at}
    begin = link("readiness:begin_call", visit.site.key) if visit.may(Act.RUN) else None
    return {"begin": begin, "chamber": chamber.key} if begin else None


def call_first_of(visit: Visit, answer: Answer, beside: Rows, rows: list[PlanRow]) -> Context:
    """Return whom to call, where a plan is not ready."""
    if not any(row.not_ready for row in rows):
        return {}
    confirm_days = answer.records.rule(answer.chamber, "contact_confirm_days")
    return {"call_first": fill.call_first(visit.site, beside, answer.at, confirm_days)}


def row_of(visit: Visit, answer: Answer, plan: str) -> PlanRow:
    """Return one plan's row; only what limits it or stands in the way is explained."""
    return plan_row(answer.shown(plan), meta_of(visit, answer, plan), answer.records.moment, visit.site.zone)


def meta_of(visit: Visit, answer: Answer, plan: str) -> PlanMeta:
    """Return what a page knows about a plan beside its evaluation."""
    row, facts = answer.names.plans[plan], answer.facts.plans[plan]
    parts = [(_("The table, descent included"), facts.table_min)]
    for one in facts.extensions:
        said = {"number": one.allowed, "minutes": one.minutes}
        text = ngettext(
            "%(number)d extension of %(minutes)d min", "%(number)d extensions of %(minutes)d min", one.allowed
        )
        parts.append((text % said, one.allowed * one.minutes))
    parts.append((_("The house\u2019s margin"), facts.margin_min))
    return PlanMeta(
        key=plan,
        name=row.name,
        party=row.party,
        chamber=answer.chamber.name,
        url=link("readiness:why", visit.site.key, answer.chamber.key, plan),
        need_names=answer.names.need_names,
        parts=tuple(parts),
    )
