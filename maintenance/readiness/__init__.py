"""What upkeep says for readiness: equipment, defects, gas banks and openings as facts."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

from django.db.models import Case, F, OuterRef, Q, TextField, Value, When

from facility.compute import facts as f
from facility.compute.units import UnitError, kpa_from
from facility.gathered import (
    AsJson,
    Row,
    Scope,
    as_text,
    branch,
    current,
    minute_down,
    minute_up,
    nested,
    newest,
    start_of_day,
)
from facility.reference import units
from maintenance.compute.gas import GasError, usable_litres
from maintenance.compute.temperatures import counted_c
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
from maintenance.models.temperatures import measured_c, with_measured
from maintenance.readiness.rule_facts import Read, rules_said
from maintenance.readiness.rule_rows import RuleRow, more_of, newest_of
from maintenance.reference import gas_law

if TYPE_CHECKING:
    from collections.abc import Container, Iterable

    from django.db.models import QuerySet

    from facility.compute.instants import Instant

EQUIPMENT, DEFECT, BANK, OPENING = "equipment", "defect", "bank", "opening"
SEVERITY = {WorkResult.PASSED.value: 0, WorkResult.UNREAD.value: 1, WorkResult.FAILED.value: 2}
LIFE = "service life"


class EquipmentRow(NamedTuple):
    """An item; ``said`` is the text of [service life ends on, newest act [done on, result], rules as RuleRow]."""

    pk: int
    tag: str
    name: str
    said: str

    @property
    def rules(self) -> list[RuleRow]:
        """Its rules that count."""
        return [RuleRow._make(rule) for rule in json.loads(self.said)[2]]


class DefectRow(NamedTuple):
    """A defect that stops or limits, not returned yet."""

    equipment: int | None
    bank: int | None
    pk: int
    number: int
    what: str
    effect: str
    plans: list[str] | None
    found_at: str
    returned_at: str | None


class BankRow(NamedTuple):
    """A bank with its cylinders [mark, water, analysis [result], reading [pressure, unit, degC, read at], warmth [degC]].

    The degC of a reading is null where it was not measured; ``warmth``: the newest one that was, if lately.
    """

    pk: int
    key: str
    name: str
    gas: str
    minimum: Any
    gauge_unit: str
    cylinders: list[Row]


@dataclass(frozen=True, slots=True)
class Setting:
    """What the rows of a chamber are read with: its site's zone, date and house rules, and the plans it has."""

    zone: str
    today: str
    window_keeps_good: bool
    plans: Container[str]


def branches(scope: Scope) -> list[QuerySet[Any]]:
    """Return this app's rows: current items of the sites, each with the newest record that bears on it."""
    defects = current(Defect).filter(Q(returned_at=None) | Q(returned_at__gt=scope.at), site__in=scope.sites)
    openings = current(Opening).filter(chamber__in=scope.chambers, opened_at__gte=scope.since)
    return [
        _equipment(scope),
        branch(
            DEFECT, defects.exclude(effect=DefectEffect.WATCH),
            "equipment_id", "bank_id", "pk", "number", "what", "effect", AsJson("plans"), "found_at", "returned_at",
        ),
        _banks(scope),
        branch(OPENING, openings, "chamber_id", "opened_at"),
    ]  # fmt: skip


def _equipment(scope: Scope) -> QuerySet[Any]:
    latest_day = (scope.at + timedelta(hours=14)).date()  # the furthest zone is 14 h ahead of UTC
    work = current(WorkRecord).filter(done_on__lte=latest_day).order_by("-done_on", "-id")
    rules = nested(
        current(IntervalRule).filter(equipment=OuterRef("pk"), counts=True),
        "name", "months", "days", "window_days", "source", *newest_of(work),
        more_of(work, OuterRef("in_service_on"), scope.at),
    )  # fmt: skip
    return branch(
        EQUIPMENT, current(Equipment).filter(site__in=scope.sites),
        "pk", "tag", "name",
        as_text("life_ends_on", newest(work.filter(equipment=OuterRef("pk")), "done_on", "result"), rules),
    )  # fmt: skip


def _banks(scope: Scope) -> QuerySet[Any]:
    analyses = current(CylinderAnalysis).filter(cylinder=OuterRef("pk"), analysed_at__lte=scope.at)
    undoubted = Case(When(doubted_by=None, then=F("result")), default=Value(None), output_field=TextField())
    readings = current(BankReading).filter(
        Q(cylinder=None) | Q(cylinder=OuterRef("pk")), bank=OuterRef("bank"), read_at__lte=scope.at
    )
    cylinders = nested(
        current(Cylinder).filter(bank=OuterRef("pk")), "mark", "water_litres",
        newest(analyses.order_by("-analysed_at", "-id"), undoubted),
        newest(readings.order_by("-read_at", "-id"), "pressure", "unit", measured_c(), "read_at"),
        newest(with_measured(readings, scope.at).order_by("-read_at", "-id"), "temperature_c"),
    )  # fmt: skip
    return branch(
        BANK, current(GasBank).filter(site__in=scope.sites),
        "pk", "key", "name", "gas", "minimum_pressure", "gauge_unit", cylinders,
    )  # fmt: skip


def equipment_facts(item: EquipmentRow, defects: Iterable[DefectRow], setting: Setting) -> f.Equipment:
    """Turn an item's rows into facts."""
    found = _recorded(item.said, setting.zone, setting.today, setting.window_keeps_good)
    return replace(found, defects=(*found.defects, *defect_facts(defects, setting))) if defects else found


@lru_cache(maxsize=65536)
def _recorded(said: str, zone: str, today: str, window_keeps_good: bool) -> f.Equipment:  # noqa: FBT001  # a key
    """Return what is recorded of an item; remembered by its text, since from one page to the next few items change.

    The newest result is judged rule by rule: a passed function test does not wash out a failed calibration.
    """
    life_ends_on, last, rules = json.loads(said)
    found = rules_said(rules, Read(zone, today, window_keeps_good))
    if life_ends_on is not None:
        found.due.append(f.Due(LIFE, f.DueDate(date.fromisoformat(life_ends_on))))
    acts = [act for act in (last, *(rule[6] for rule in rules)) if act is not None]
    day = date.fromisoformat(max(acts)[0]) if acts else None
    results = () if day is None else (f.Result(start_of_day(day, zone), _worst(acts)),)
    restricted = tuple(f.Defect(since, None, "restricted") for since, _ in found.restricted)
    return f.Equipment(tuple(found.due), results, restricted, tuple(found.counters))


def _worst(acts: list[Row]) -> Any:
    worst = WorkResult.PASSED.value
    for _, result in acts:
        if result != worst and SEVERITY[result] > SEVERITY[worst]:
            worst = result
    return worst


def restrictions(item: EquipmentRow, setting: Setting) -> dict[Instant, str]:
    """Return what restricts an item by its rules: from when, and the fact that says so."""
    read = Read(setting.zone, setting.today, setting.window_keeps_good)
    return dict(rules_said(json.loads(item.said)[2], read).restricted)


def defect_facts(rows: Iterable[DefectRow], setting: Setting) -> tuple[f.Defect, ...]:
    """Turn defects into facts. When something is expected back never counts."""
    found: list[f.Defect] = []
    for row in rows:
        named = None if not row.plans else tuple(plan for plan in row.plans if plan in setting.plans)
        if named == ():
            continue
        since = minute_down(row.found_at)
        until = None if row.returned_at is None else minute_up(row.returned_at)
        if until is None or until > since:
            effect: Literal["out", "restricted"] = "out" if row.effect == DefectEffect.STOPS else "restricted"
            found.append(f.Defect(since, until, effect, named))
    return tuple(found)


def bank_facts(
    bank: BankRow, defects: Iterable[DefectRow], setting: Setting, *, used_at: Instant | None = None
) -> f.Bank:
    """Turn a bank's rows into facts.

    ``used_at``: a run breathed from it until then; what was read before is no reading any more.
    """
    found: list[f.Cylinder] = []
    for mark, water, analysis, reading, measured in sorted(bank.cylinders, key=lambda one: str(one[0])):
        result: Any = analysis[0] if analysis else None
        read_at = minute_down(reading[3]) if reading else None
        if read_at is None or (used_at is not None and read_at < used_at):
            found.append(f.Cylinder(mark, None, None, result))
            continue
        read = (str(reading[0]), reading[1], str(reckoned_c(reading[2], measured)))
        content = content_litres(bank.gas, str(water), read, (str(bank.minimum), bank.gauge_unit))
        found.append(f.Cylinder(mark, content, read_at, result))
    return f.Bank(bank.gas, tuple(found), (), defect_facts(defects, setting) if defects else ())


def reckoned_c(celsius: Any, measured: Row | None) -> Any:
    """Return the temperature at which a reading counts: its own, or where it has none what the last measured tells."""
    if celsius is not None:
        return celsius
    return counted_c(float(measured[0]) if measured else None)


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
    return tuple(sorted(minute_down(opened_at) for _, opened_at in rows))
