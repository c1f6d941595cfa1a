"""The pages Ahead and What if. They read, and store nothing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from facility import events, house
from facility.access import Act, Visit, enter
from facility.compute.instants import FactsError, datetime_of
from facility.compute.readiness import evaluate
from facility.compute.whatif import changed
from facility.readiness import services
from facility.readiness.ahead.coming import caution_of_forecast, coming_of, ticks_of
from facility.readiness.ahead.forms import WhatIfForm
from facility.readiness.links import link
from facility.readiness.no_chamber import no_chamber
from maintenance.models import Equipment

if TYPE_CHECKING:
    from datetime import datetime

    from facility.compute.findings import Evaluation
    from facility.models import Chamber
    from facility.readiness.services import Answer

MARKS = {"Ready": "ready", "Ready with limits": "limits", "Not ready": "stop", "Not known": "unknown"}


def _chamber(visit: Visit, key: str) -> tuple[Chamber, list[dict[str, Any]]]:
    """Return the chamber of that key, or the first, and the links to all of them by page name."""
    chambers = services.chambers_of(visit.site)
    found = next((chamber for chamber in chambers if key in ("", chamber.key)), None)
    if found is None:
        raise Http404
    return found, [{"name": one.name, "key": one.key, "current": one == found} for one in chambers]


def _lead_days(visit: Visit) -> dict[str, int]:
    rows = Equipment.objects.filter(site=visit.site, retired_at=None, lead_days__isnull=False)
    return {f"equipment:{tag}": days for tag, days in rows.values_list("tag", "lead_days") if days is not None}


@require_safe
def ahead(request: HttpRequest, site: str, chamber: str = "") -> HttpResponse:
    """Show the coming 90 days of each plan: when none could start, why, and by when to act."""
    visit = enter(request, site, Act.SEE)
    if not services.chambers_of(visit.site):
        return render(request, "readiness/ahead/ahead.html", {"visit": visit, "place": "now", "plans": []})
    shown, chambers = _chamber(visit, chamber)
    answer = services.evaluate_chamber(shown, events.now())
    plans = coming_of(answer, _lead_days(visit), int(house.values(visit.site)["lead_time_days"]))
    context = {
        "visit": visit, "place": "now", "chambers": chambers, "chamber": shown, "plans": plans,
        "ticks": ticks_of(answer.at, visit.site.zone), "caution": services.caution(),
        "assumed": caution_of_forecast(),
    }  # fmt: skip
    return render(request, "readiness/ahead/ahead.html", context)


@dataclass(frozen=True, slots=True)
class Side:
    """A plan's state on one side, with the instants and names that the page shows."""

    state: str
    mark: str
    until: datetime | None
    ready_from: datetime | None
    in_the_way: tuple[str, ...]
    limiting: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Compared:
    """One plan before and after."""

    name: str
    party: str
    url: str | None
    before: Side
    after: Side

    @property
    def differs(self) -> bool:
        """Whether anything shown is different."""
        return self.before != self.after


@require_safe
def what_if(request: HttpRequest, site: str, chamber: str = "") -> HttpResponse:
    """Ask what a change would do to each plan; before and after stand side by side."""
    visit = enter(request, site, Act.SEE)
    if not services.chambers_of(visit.site):
        return no_chamber(request, visit, _("What if"), "now")
    shown, chambers = _chamber(visit, chamber)
    answer = services.evaluate_chamber(shown, events.now())
    form = WhatIfForm(request.GET if "ask" in request.GET else None, initial={"after_start": datetime_of(answer.at)})
    form.open_on(answer, visit.site)
    compared: list[Compared] = []
    status = 200
    if form.is_bound:
        try:
            compared = _compared(form, answer, visit) if form.is_valid() else []
        except FactsError as error:
            form.add_error(None, str(error))
        status = 422 if form.errors else 200
    context = {
        "visit": visit, "place": "now", "chambers": chambers, "chamber": shown, "form": form, "compared": compared,
        "caution": services.caution(),
    }  # fmt: skip
    return render(request, "readiness/ahead/what_if.html", context, status=status)


def _compared(form: WhatIfForm, answer: Answer, visit: Visit) -> list[Compared]:
    after = evaluate(changed(answer.facts, answer.at, form.changes()), answer.at)
    names = answer.names
    return [
        Compared(
            names.plans[plan].name, names.plans[plan].party,
            link("readiness:why", visit.site.key, answer.chamber.key, plan),
            _side(before, names.need_names), _side(after[plan], names.need_names),
        )
        for plan, before in answer.evaluations.items()
    ]  # fmt: skip


def _side(found: Evaluation, names: dict[str, str]) -> Side:
    return Side(
        str(found.state), MARKS[str(found.state)],
        None if found.holds_until is None else datetime_of(found.holds_until),
        None if found.ready_from is None else datetime_of(found.ready_from),
        tuple(names.get(need, need) for need in found.in_the_way),
        tuple(names.get(need, need) for need in found.limiting),
    )  # fmt: skip
