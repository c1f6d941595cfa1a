"""Plan and budget: what comes when and for how much, as page, as CSV and for print."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from facility import events
from facility.access import Act, enter
from facility.compute.csv_writing import csv_text
from maintenance.compute.budget import Time, busiest, by_month, sums, times
from maintenance.compute.intervals import add_months
from maintenance.planning.coming import ahead_of

DAYS = (30, 90, 365)
MONTHS = (12, 24, 60)


@dataclass(frozen=True, slots=True)
class Horizon:
    """How far the page looks: its key in the address, its words, its last day."""

    key: str
    words: str
    until: date


def horizons(today: date) -> tuple[Horizon, ...]:
    """Return the spans that may be asked for, the shortest first."""
    by_days = [
        Horizon(f"{n}d", ngettext("%(n)d day", "%(n)d days", n) % {"n": n}, today + timedelta(days=n)) for n in DAYS
    ]
    by_months = [
        Horizon(f"{n}m", ngettext("%(n)d month", "%(n)d months", n) % {"n": n}, add_months(today, n)) for n in MONTHS
    ]
    return (*by_days, *by_months)


def plan_ahead(request: HttpRequest, site: str) -> HttpResponse:
    """Show what falls due within a span, month by month, with what it is expected to cost; as=csv hands it out."""
    visit = enter(request, site, Act.SEE)
    now = events.now()
    today = now.astimezone(ZoneInfo(visit.site.zone)).date()
    spans = horizons(today)
    chosen = next((one for one in spans if one.key == request.GET.get("within")), spans[1])
    rows = ahead_of(visit.site, today)
    whole = times(rows, today, spans[-1].until)
    found = [one for one in whole if one.on <= chosen.until]
    if request.GET.get("as") == "csv":
        return _csv(found, visit.site.key, today)
    context = {
        "visit": visit, "place": "plant", "spans": spans, "chosen": chosen, "today": today, "now": now,
        "months": [(times_of[0].on, times_of) for times_of in by_month(found).values()], "count": len(found),
        "sums": sums(whole, [(one.words, one.until) for one in spans]), "busiest": _month(busiest(found)),
        "undated": [row for row in rows if row.first_on is None],
    }  # fmt: skip
    return render(request, "maintenance/planning/plan.html", context)


def _month(found: tuple[str, int] | None) -> dict[str, Any] | None:
    if found is None:
        return None
    return {"on": date.fromisoformat(f"{found[0]}-01"), "count": found[1]}


def _csv(found: list[Time], site: str, today: date) -> HttpResponse:
    head = ["day", "item", "act", "kind", "overdue", "projected", "price", "currency"]
    lines = [
        (
            one.on.isoformat(), one.ahead.item, one.ahead.act, _kind(one), "yes" if one.overdue else "no",
            "yes" if one.ahead.projected else "no", "" if one.ahead.price is None else one.ahead.price,
            one.ahead.currency,
        )
        for one in found
    ]  # fmt: skip
    answer = HttpResponse(csv_text(head, lines), content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="plan-{site}-{today:%Y%m%d}.csv"'
    return answer


def _kind(one: Time) -> str:
    return _("end of life") if one.ahead.life else _("act")
