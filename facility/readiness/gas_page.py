"""The page of all gas: what each bank holds, its course, runs left of each plan, and the day to order by."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.db.models import OuterRef, Subquery
from django.shortcuts import render

from facility import events, house
from facility.access import Act, enter
from facility.readiness.gas_runs import ended_runs, most_needed, of_runs, plans_left
from facility.readiness.services import answers, chambers_of
from facility.reference import load
from maintenance.compute.supply import use_of
from maintenance.gas_room.check_readings import of_checks
from maintenance.gas_room.content import bank_states, courses
from maintenance.gas_room.course import by_gas, forecast_of, line_of, noise_of
from maintenance.gas_room.findings import Look, of_plant
from maintenance.models import Counter, CounterReading, Equipment, EquipmentKind, Supply
from maintenance.reference import FOLDER
from maintenance.upkeep.state import due_states_of

if TYPE_CHECKING:
    from datetime import date

    from django.http import HttpRequest, HttpResponse

    from facility.models import Site
    from maintenance.upkeep.state import DueState


def gas(request: HttpRequest, site: str) -> HttpResponse:
    """Show all banks, what is left for runs, and when to order; the number of queries does not grow."""
    visit = enter(request, site, Act.SEE)
    now = events.now()
    states = bank_states(visit.site, now, int(house.values(visit.site)["bank_age_min"]))
    found = courses(states, now)
    left = [row for answer in answers(chambers_of(visit.site), now) for row in plans_left(answer)]
    today = now.astimezone(ZoneInfo(visit.site.zone)).date()
    needed = most_needed(left)
    supplies = {one.gas: one for one in Supply.objects.filter(site=visit.site, retired_at=None).order_by("-lead_days")}
    forecasts = [
        forecast_of(name, of_gas, _content(states, name), needed.get(name, 0), supplies.get(name), today)
        for name, of_gas in by_gas(states, found).items()
    ]
    context = {
        "visit": visit, "place": "plant", "left": left, "forecasts": forecasts, "counters": _counters(visit.site),
        "lines": [{"state": one, "line": line_of(found[one.bank.pk]), "use": _use(found[one.bank.pk]),
                   "overdue": one.past_test(today)} for one in states],
        "accuracy": load(FOLDER / "real_gas.toml")["accuracy"].number, "may_read": visit.may(Act.CHECK),
        "may_plant": visit.may(Act.PLANT), "acts": _acts(visit.site, today), "today": today,
    }  # fmt: skip
    return render(request, "readiness/gas.html", context)


def _acts(site: Site, today: date) -> list[DueState]:
    """Return when the acts on compressors fall due, filters and air tests among them."""
    compressors = Equipment.objects.filter(site=site, retired_at=None, kind=EquipmentKind.COMPRESSOR)
    return due_states_of(compressors.values_list("pk", flat=True), site, today)


def _content(states: list[Any], name: str) -> int:
    return sum(one.litres for one in states if one.bank.gas == name)


def _use(points: list[tuple[Any, float]]) -> Any:
    return use_of(points, noise_of(points))


def _counters(site: Site) -> Any:
    """Return the counters of compressors with their newest value, in one query."""
    newest = CounterReading.objects.filter(counter=OuterRef("pk"), retired_at=None).order_by("-read_at", "-id")
    return (
        Counter.objects.filter(site=site, retired_at=None, equipment__kind=EquipmentKind.COMPRESSOR)
        .select_related("equipment")
        .annotate(newest=Subquery(newest.values("value")[:1]), newest_at=Subquery(newest.values("read_at")[:1]))
        .order_by("equipment__tag", "key")
    )


def cross_checks(request: HttpRequest, site: str) -> HttpResponse:
    """List what does not agree, comparison by comparison; the number of queries does not grow."""
    visit = enter(request, site, Act.SEE)
    look = Look(visit.site, ZoneInfo(visit.site.zone), events.now(), house.values(visit.site))
    states = bank_states(visit.site, look.now, int(look.house["bank_age_min"]))
    found = [*of_plant(look), *of_checks(look), *of_runs(look, states, courses(states, look.now), ended_runs(look))]
    groups = [
        (check, list(ones)) for check, ones in groupby(sorted(found, key=lambda one: one.check), lambda one: one.check)
    ]
    context = {"visit": visit, "place": "plant", "groups": groups, "number": len(found), "look": look,
               "may_raise": visit.may(Act.DEFECT)}  # fmt: skip
    return render(request, "readiness/cross_checks.html", context)
