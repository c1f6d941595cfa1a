"""The place Plant: chamber and locks, gauges, fire protection, analysers, gas banks, defects, work due."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from django.db.models import OuterRef, Q, Subquery
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from facility import events
from facility.access import Act, enter
from facility.records.due import rules_of_site, with_loose_work
from facility.records.states import Moment, State, age_text, moment_of, of_rule, worst_of_item
from maintenance.models import (
    AnalysisResult,
    BankReading,
    Cylinder,
    CylinderAnalysis,
    Defect,
    DefectEffect,
    Equipment,
    EquipmentKind,
    GasBank,
)
from maintenance.models.temperatures import with_measured
from maintenance.readiness import content_litres, reckoned_c

if TYPE_CHECKING:
    from collections.abc import Sequence

    from django.http import HttpRequest, HttpResponse

    from facility.models import Site
    from maintenance.upkeep.state import DueState

GROUPS = (
    (gettext_lazy("Gauges and clocks"), {
        EquipmentKind.DEPTH_GAUGE, EquipmentKind.PRESSURE_GAUGE, EquipmentKind.CLOCK, EquipmentKind.THERMOMETER,
    }),
    (gettext_lazy("Fire protection and alarms"), {EquipmentKind.FIRE, EquipmentKind.ALARM}),
    (gettext_lazy("Analysers"), {EquipmentKind.ANALYSER}),
)  # fmt: skip
SOON_DAYS, LATER_DAYS = 30, 90


@dataclass(frozen=True, slots=True)
class BankLine:
    """One bank: what may be drawn from it, from how many cylinders, and how old the reading is."""

    bank: GasBank
    litres: int | None
    counted: int
    cylinders: int
    state: State


@dataclass(frozen=True, slots=True)
class DueLine:
    """One act on one item with its due day."""

    rule: DueState
    state: State
    days: int


def plant(request: HttpRequest, site: str) -> HttpResponse:
    """Show the plant."""
    visit = enter(request, site, Act.SEE)
    moment = moment_of(visit.site, events.now())
    rules = rules_of_site(moment)
    defects = list(
        Defect.objects.filter(site=visit.site, retired_at=None, returned_at=None)
        .select_related("equipment", "bank").order_by("-found_at")
    )  # fmt: skip
    work = _work_due(rules, moment)
    chambers, banks = _chambers(visit.site), bank_lines(visit.site, moment, defects)
    groups = _groups(visit.site, rules, defects, moment)
    context = {
        "visit": visit, "place": "plant", "moment": moment, "defects": defects,
        "chambers": chambers, "groups": groups, "banks": banks,
        "nothing": not (chambers or banks or any(items for _title, items in groups)),
        "due_soon": [line for line in work if line.days <= SOON_DAYS],
        "due_later": [line for line in work if line.days > SOON_DAYS],
        "may_raise": visit.may(Act.DEFECT), "may_read": visit.may(Act.CHECK), "may_plant": visit.may(Act.PLANT),
    }  # fmt: skip
    return render(request, "places/plant.html", context)


def _chambers(site: Site) -> list[dict[str, Any]]:
    """Return the chambers with their locks, in one query."""
    rows = site.chambers.filter(retired_at=None).order_by("key", "locks__key")
    found: dict[int, dict[str, Any]] = {}
    for row in rows.values("pk", "name", "kind", "locks__pk", "locks__name", "locks__occupants", "locks__retired_at"):
        chamber = found.setdefault(row["pk"], {"pk": row["pk"], "name": row["name"], "kind": row["kind"], "locks": []})
        if row["locks__pk"] and row["locks__retired_at"] is None:
            chamber["locks"].append(
                {"pk": row["locks__pk"], "name": row["locks__name"], "occupants": row["locks__occupants"]}
            )
    return list(found.values())


def _groups(
    site: Site, rules: dict[int, list[DueState]], defects: Sequence[Defect], moment: Moment
) -> list[tuple[str, list[tuple[Equipment, State]]]]:
    """Return the items by group, the worst first; the last group holds all that needs someone."""
    of_item: dict[int, list[Defect]] = {}
    for defect in defects:
        of_item.setdefault(defect.equipment_id or 0, []).append(defect)
    items = [
        (item, worst_of_item(item, rules.get(item.pk, []), of_item.get(item.pk, []), moment))
        for item in with_loose_work(Equipment.objects.filter(site=site, retired_at=None)).order_by("tag")
    ]
    grouped = {kind for _title, kinds in GROUPS for kind in kinds}
    found = [(str(title), [one for one in items if one[0].kind in kinds]) for title, kinds in GROUPS]
    rest = [one for one in items if one[0].kind not in grouped and not one[1].quiet]
    return [*found, (_("Elsewhere, needing someone"), rest)]


def _work_due(rules: dict[int, list[DueState]], moment: Moment) -> list[DueLine]:
    """Return what is due within 90 days, failed and never recorded first."""
    found = []
    for rule in (one for of_item in rules.values() for one in of_item):
        state = of_rule(rule, moment)
        left = rule.days_left(moment.today)
        days = left if left is not None else -1 if state.rank else LATER_DAYS + 1
        if state.rank >= 3 or days <= LATER_DAYS:  # noqa: PLR2004  # failed, never recorded, overdue
            found.append(DueLine(rule, state, min(days, -1) if state.rank >= 3 else days))  # noqa: PLR2004
    return sorted(found, key=lambda line: (line.days if line.days > -1 else -10_000 - line.state.rank, line.rule.tag))


def bank_lines(site: Site, moment: Moment, defects: Sequence[Defect] = ()) -> list[BankLine]:
    """Return the content of each bank, from passed cylinders and readings that are not too old.

    ``defects``: open ones; a bank that one takes out of service is shown with its tag.
    """
    of_bank: dict[int, list[Any]] = {}
    readings = BankReading.objects.filter(
        Q(cylinder=None) | Q(cylinder=OuterRef("pk")), bank=OuterRef("bank"), retired_at=None, read_at__lte=moment.now
    ).order_by("-read_at", "-id")
    analyses = CylinderAnalysis.objects.filter(
        cylinder=OuterRef("pk"), retired_at=None, analysed_at__lte=moment.now
    ).order_by("-analysed_at", "-id")
    cylinders = Cylinder.objects.filter(bank__site=site, bank__retired_at=None, retired_at=None).annotate(
        **{
            f"last_{name}": Subquery(readings.values(name)[:1])
            for name in ("pressure", "unit", "temperature_c", "read_at", "answer")
        },
        measured_c=Subquery(with_measured(readings, moment.now).values("temperature_c")[:1]),
        analysis=Subquery(analyses.values("result")[:1]),
    )
    for cylinder in cylinders:
        of_bank.setdefault(cylinder.bank_id, []).append(cylinder)
    banks = GasBank.objects.filter(site=site, retired_at=None).order_by("key")
    lines = [_bank_line(bank, of_bank.get(bank.pk, []), moment) for bank in banks]
    shut = {one.bank_id: one for one in defects if one.bank_id and one.effect == DefectEffect.STOPS}
    return [replace(line, state=_shut(shut[line.bank.pk])) if line.bank.pk in shut else line for line in lines]


def _shut(defect: Defect) -> State:
    return State("tag", _("Out of service, tag %(tag)s") % {"tag": f"{defect.number:04d}"}, 4)


def _bank_line(bank: GasBank, cylinders: list[Any], moment: Moment) -> BankLine:
    limit = int(moment.rules["bank_age_min"])
    passed = [one for one in cylinders if one.analysis == AnalysisResult.PASSED]
    read = [one for one in passed if one.last_read_at is not None]
    minimum = (str(bank.minimum_pressure), bank.gauge_unit)
    contents = [
        content_litres(
            bank.gas,
            str(one.water_litres),
            (str(one.last_pressure), one.last_unit, str(_celsius(one))),
            minimum,
        )
        for one in read
    ]
    told = [content for content in contents if content is not None]
    return BankLine(
        bank, sum(told) if told else None, len(told), len(cylinders), _age_state(passed, read, limit, moment)
    )


def _celsius(cylinder: Any) -> Any:
    measured = [cylinder.measured_c] if cylinder.measured_c is not None else None
    return reckoned_c(None if cylinder.last_answer is not None else cylinder.last_temperature_c, measured)


def _age_state(passed: list[Any], read: list[Any], limit: int, moment: Moment) -> State:
    if not passed:
        return State("unknown", _("No cylinder with a passed analysis: counts for nothing"), 3)
    if not read:
        return State("unknown", _("Never read"), 3)
    minutes = int((moment.now - min(one.last_read_at for one in read)).total_seconds() // 60)
    if minutes >= limit:
        return State("unknown", _("Read %(age)s ago: too old") % {"age": age_text(minutes)}, 3)
    if len(read) < len(passed):
        return State("unknown", _("Not every cylinder is read"), 3)
    return State("indate", _("Read %(age)s ago") % {"age": age_text(minutes)})
