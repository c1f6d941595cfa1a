"""What upkeep says for readiness: equipment, defects, gas banks and openings as facts."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Literal, cast

from django.db.models import OuterRef, Q

from facility.compute import facts as f
from facility.compute.units import UnitError, kpa_from
from facility.gathered import AsJson, Row, Scope, branch, current, minute_down, minute_up, newest, start_of_day
from facility.reference import units
from maintenance.compute.gas import GasError, usable_litres
from maintenance.compute.intervals import next_due
from maintenance.models import (
    BankReading,
    Cylinder,
    CylinderAnalysis,
    Defect,
    DefectEffect,
    Equipment,
    GasBank,
    IntervalRule,
    Opening,
    WorkRecord,
    WorkResult,
)
from maintenance.reference import gas_law

if TYPE_CHECKING:
    from collections.abc import Container, Iterable

    from django.db.models import QuerySet

    from facility.compute.instants import Instant

EQUIPMENT, RULE, DEFECT, BANK, CYLINDER, OPENING = "equipment", "rule", "defect", "bank", "cylinder", "opening"
SEVERITY = {WorkResult.PASSED: 0, WorkResult.UNREAD: 1, WorkResult.FAILED: 2}
LIFE = "service life"


@dataclass(frozen=True, slots=True)
class Setting:
    """What the rows of a chamber are read with: its site's zone and house rules, and the plans it has."""

    zone: str
    at: Instant
    window_keeps_good: bool
    plans: Container[str]


def branches(scope: Scope) -> list[QuerySet[Any]]:
    """Return this app's rows: current items of the sites, each with the newest record that bears on it."""
    latest_day = (scope.at + timedelta(hours=14)).date()  # the furthest zone is 14 h ahead of UTC
    work = current(WorkRecord).filter(done_on__lte=latest_day).order_by("-done_on", "-id")
    of_rule = work.filter(rule=OuterRef("pk"))
    rules = current(IntervalRule).filter(equipment__site__in=scope.sites, equipment__retired_at=None, counts=True)
    defects = (
        current(Defect)
        .filter(Q(returned_at=None) | Q(returned_at__gt=scope.at), site__in=scope.sites)
        .exclude(effect=DefectEffect.WATCH)
    )
    return [
        branch(
            EQUIPMENT, current(Equipment).filter(site__in=scope.sites),
            "pk", "tag", "name", "life_ends_on",
            newest(work.filter(equipment=OuterRef("pk")), "done_on", "result"),
        ),
        branch(
            RULE, rules, "equipment_id", "pk", "name", "months", "days", "window_days", "source",
            newest(of_rule.filter(result=WorkResult.PASSED), "done_on", "due_on"),
            newest(of_rule, "done_on", "result"),
        ),
        branch(
            DEFECT, defects, "equipment_id", "bank_id", "pk", "number", "what", "effect", AsJson("plans"),
            "found_at", "returned_at",
        ),
        branch(
            BANK, current(GasBank).filter(site__in=scope.sites),
            "pk", "key", "name", "gas", "minimum_pressure", "gauge_unit",
        ),
        _cylinders(scope),
        branch(OPENING, _openings(scope), "chamber_id", "opened_at", "work"),
    ]  # fmt: skip


def _cylinders(scope: Scope) -> QuerySet[Any]:
    analyses = (
        current(CylinderAnalysis)
        .filter(cylinder=OuterRef("pk"), analysed_at__lte=scope.at)
        .order_by("-analysed_at", "-id")
    )
    readings = current(BankReading).filter(
        Q(cylinder=None) | Q(cylinder=OuterRef("pk")),
        bank=OuterRef("bank"), read_at__lte=scope.at,
    ).order_by("-read_at", "-id")  # fmt: skip
    return branch(
        CYLINDER, current(Cylinder).filter(bank__site__in=scope.sites, bank__retired_at=None),
        "bank_id", "pk", "mark", "water_litres", newest(analyses, "result"),
        newest(readings, "pressure", "unit", "temperature_c", "read_at"),
    )  # fmt: skip


def _openings(scope: Scope) -> QuerySet[Opening]:
    """Openings that could void a check young enough to count, and those planned for later."""
    return current(Opening).filter(chamber__in=scope.chambers, opened_at__gte=scope.since)


def equipment_facts(item: Row, rules: Iterable[Row], defects: Iterable[Row], setting: Setting) -> f.Equipment:
    """Turn an item's rows into facts.

    The newest result is judged rule by rule: a passed function test does not wash out a failed calibration.
    """
    _, _, _, life_ends_on, last_work = item
    zone = setting.zone
    due = [_due(rule, setting) for rule in rules]
    if life_ends_on is not None:
        due.append(f.Due(LIFE, f.DueDate(date.fromisoformat(life_ends_on))))
    results = [work for rule in rules if (work := rule[8]) is not None]
    if last_work is not None:
        results.append(last_work)
    newest_results: tuple[f.Result, ...] = ()
    if results:
        day = max(work[0] for work in results)
        worst = max((work[1] for work in results), key=SEVERITY.__getitem__)
        newest_results = (f.Result(start_of_day(date.fromisoformat(day), zone), worst),)
    return f.Equipment(tuple(due), newest_results, defect_facts(defects, setting))


def _due(rule: Row, setting: Setting) -> f.Due:
    """Reckon when an act falls due from the newest passed one; never passed stays unknown."""
    _, _, name, months, days, window_days, _, passed, _ = rule
    if passed is None:
        return f.Due(name, None)
    done_on = date.fromisoformat(passed[0])
    due_on = date.fromisoformat(passed[1]) if passed[1] else next_due(done_on, months=months, days=days)
    window = window_days if setting.window_keeps_good else 0
    begins = start_of_day(done_on, setting.zone)
    return f.Due(name, f.DueDate(due_on, window), None if begins <= setting.at else begins)


def defect_facts(rows: Iterable[Row], setting: Setting) -> tuple[f.Defect, ...]:
    """Turn defects into facts. When something is expected back never counts."""
    found: list[f.Defect] = []
    for _, _, _, _, _, effect, plans, found_at, returned_at in rows:
        named = None if not plans else tuple(plan for plan in plans if plan in setting.plans)
        if named == ():
            continue
        until = None if returned_at is None else minute_up(returned_at)
        kind: Literal["out", "restricted"] = "out" if effect == DefectEffect.STOPS else "restricted"
        since = minute_down(found_at)
        if until is None or until > since:
            found.append(f.Defect(since, until, kind, named))
    return tuple(found)


def bank_facts(
    bank: Row, cylinders: Iterable[Row], defects: Iterable[Row], setting: Setting, *, used_at: Instant | None
) -> f.Bank:
    """Turn a bank's rows into facts.

    ``used_at``: a run breathed from it until then; what was read before is no reading any more.
    """
    _, _, _, gas, minimum, gauge_unit = bank
    found: list[f.Cylinder] = []
    for _, _, mark, water, analysis, reading in cylinders:
        result = cast("Any", analysis[0]) if analysis else None
        read_at = minute_down(reading[3]) if reading else None
        if reading is None or read_at is None or (used_at is not None and read_at < used_at):
            found.append(f.Cylinder(mark, None, None, result))
            continue
        content = content_litres(
            gas, str(water), (str(reading[0]), reading[1], str(reading[2])), (str(minimum), gauge_unit)
        )
        found.append(f.Cylinder(mark, content, read_at, result))
    return f.Bank(gas, tuple(found), (), defect_facts(defects, setting))


@lru_cache(maxsize=8192)
def content_litres(gas: str, water: str, reading: tuple[str, str, str], minimum: tuple[str, str]) -> int | None:
    """Return what may be drawn from a cylinder, cut to whole litres at 15 degC and 1 atm.

    ``reading``: pressure, unit, temperature in degC. ``minimum``: pressure not drawn below, unit. All as stored.
    None if the reading is outside what the gas law was fitted for: it cannot be told, so it is not known.
    """
    pressure, unit, temperature_c = reading
    try:
        content = usable_litres(
            gas_law(gas), float(water), _kpa(pressure, unit), float(temperature_c), minimum_gauge_kpa=_kpa(*minimum)
        )
    except (GasError, UnitError, KeyError):
        return None
    return int(content)


def _kpa(value: str, unit: str) -> float:
    return float(kpa_from(Decimal(value), unit, units()))


def opening_facts(rows: Iterable[Row]) -> tuple[Instant, ...]:
    """Turn openings into instants from which older checks no longer count."""
    return tuple(sorted(minute_down(opened_at) for _, opened_at, _ in rows))
