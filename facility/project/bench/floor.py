"""The rows that readiness is gathered from, fetched as plain tuples: the floor that gathering is held against.

The usual way: one ``values_list`` a table, the newest record of each owner by a subquery.
Nothing is done with a tuple. The filters are those of the gathering; a test counts both.
"""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any, TypeVar

from django.db.models import Max, OuterRef, Q, QuerySet, Subquery

from facility.gathered import current
from facility.models import (
    Check,
    CheckSheet,
    CheckState,
    DrillPart,
    DutyPeriod,
    FitDeclared,
    MedicalFitness,
    Person,
    QualificationHeld,
    ShutDown,
    Site,
)
from facility.readiness.gather_people import EXPIRED_SHOWN
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
from treatments.models import Need, NeedMember, Plan, PressureWait, Run, RunPlace, Waiver

if TYPE_CHECKING:
    from collections.abc import Iterator

    from django.db.models import Model

    from facility.gathered import Scope

Tuples = QuerySet[Any, Any]
Owner = TypeVar("Owner", bound="Model")


def tuples(scope: Scope) -> Iterator[tuple[str, Tuples]]:
    """Yield each kind of row with its query."""
    yield "site", Site.objects.filter(pk__in=scope.sites).values_list("pk", "zone", "key")
    yield from _plant(scope)
    yield from _gas(scope)
    yield from _treatments(scope)
    yield from _people(scope)
    yield from _checks(scope)


def fetched(scope: Scope) -> int:
    """Fetch everything and return how many rows there were."""
    return sum(len(list(rows)) for _, rows in tuples(scope))


def _newest(owners: QuerySet[Owner], ordered: QuerySet[Any], *fields: str) -> Tuples:
    """Return the first record of each owner, found through the owner."""
    firsts = owners.values(first=Subquery(ordered.values("pk")[:1]))
    return QuerySet(ordered.model).filter(pk__in=firsts).values_list(*fields)


def _latest_day(scope: Scope) -> Any:
    return (scope.at + timedelta(hours=14)).date()


def _plant(scope: Scope) -> Iterator[tuple[str, Tuples]]:
    items = current(Equipment).filter(site__in=scope.sites)
    rules = current(IntervalRule).filter(equipment__site__in=scope.sites, equipment__retired_at=None, counts=True)
    work = current(WorkRecord).filter(done_on__lte=_latest_day(scope)).order_by("-done_on", "-id")
    of_rule = work.filter(rule=OuterRef("pk"))
    defects = current(Defect).filter(Q(returned_at=None) | Q(returned_at__gt=scope.at), site__in=scope.sites)
    openings = current(Opening).filter(chamber__in=scope.chambers, opened_at__gte=scope.since)
    yield "equipment", items.values_list("pk", "tag", "name", "life_ends_on")
    yield "newest work", _newest(items, work.filter(equipment=OuterRef("pk")), "equipment_id", "done_on", "result")
    yield "rule", rules.values_list("pk", "equipment_id", "name", "months", "days", "window_days", "source")
    yield "newest of rule", _newest(rules, of_rule, "rule_id", "done_on", "result")
    passed = of_rule.filter(result=WorkResult.PASSED)
    yield "passed of rule", _newest(rules, passed, "rule_id", "done_on", "due_on")
    yield (
        "defect",
        defects.exclude(effect=DefectEffect.WATCH).values_list(
            "equipment_id", "bank_id", "pk", "number", "what", "effect", "plans", "found_at", "returned_at"
        ),
    )
    yield "opening", openings.values_list("chamber_id", "opened_at")


def _gas(scope: Scope) -> Iterator[tuple[str, Tuples]]:
    banks = current(GasBank).filter(site__in=scope.sites)
    cylinders = current(Cylinder).filter(bank__site__in=scope.sites, bank__retired_at=None)
    analyses = current(CylinderAnalysis).filter(cylinder=OuterRef("pk"), analysed_at__lte=scope.at)
    readings = current(BankReading).filter(
        Q(cylinder=None) | Q(cylinder=OuterRef("pk")), bank=OuterRef("bank"), read_at__lte=scope.at
    )
    yield "bank", banks.values_list("pk", "key", "name", "gas", "minimum_pressure", "gauge_unit")
    yield "cylinder", cylinders.values_list("pk", "bank_id", "mark", "water_litres")
    yield "analysis", _newest(cylinders, analyses.order_by("-analysed_at", "-id"), "cylinder_id", "result")
    fields = ("bank_id", "cylinder_id", "pressure", "unit", "temperature_c", "read_at")
    yield "reading", _newest(cylinders, readings.order_by("-read_at", "-id"), *fields)


def _treatments(scope: Scope) -> Iterator[tuple[str, Tuples]]:
    plans = current(Plan).filter(chamber__in=scope.chambers)
    needs = current(Need).filter(chamber__in=scope.chambers)
    rests = Plan.needs.through._default_manager.filter(
        plan__chamber__in=scope.chambers, plan__retired_at=None, need__retired_at=None
    )
    members = current(NeedMember).filter(need__chamber__in=scope.chambers, need__retired_at=None)
    runs = current(Run).filter(
        Q(ended_at=None) | Q(ended_at__gte=scope.since), chamber__site__in=scope.sites, started_at__lte=scope.at
    )
    breathed = current(NeedMember).filter(
        need__plans__in=runs.values("plan"), need__retired_at=None, bank__isnull=False
    )
    yield "plan", plans.values_list(
        "chamber_id", "pk", "key", "name", "party", "place", "table_min", "margin_min", "wait_min", "crew_waivable",
        "extensions", "roles", "emergency_roles", "gas",
    )  # fmt: skip
    yield "plan's need", rests.values_list("plan_id", "need_id")
    yield (
        "need",
        needs.values_list(
            "chamber_id", "pk", "key", "name", "k", "from_min", "to_min", "effect", "waivable", "gas", "source", "lift"
        ),
    )
    yield "member", members.values_list("need_id", "equipment_id", "bank_id", "sheet_id")
    yield "waiver", current(Waiver).filter(ends_at__gt=scope.at, chamber__in=scope.chambers).values_list(
        "chamber_id", "need_id", "pk", "plans", "starts_at", "ends_at", "to_end_of_run", "accepts", "without", "why",
        "granted_by",
    )  # fmt: skip
    yield "run", runs.values_list("chamber_id", "pk", "plan_id", "number", "started_at", "planned_end_at", "ended_at")
    shut = current(ShutDown).filter(chamber__in=scope.chambers, ends_at__gt=scope.at)
    yield "shut-down", shut.values_list("chamber_id", "pk", "starts_at", "ends_at", "why")
    yield "run's bank", breathed.values_list("need__plans", "bank_id")


def _people(scope: Scope) -> Iterator[tuple[str, Tuples]]:
    people = current(Person).filter(site__in=scope.sites)
    of_people = {"person__site__in": scope.sites, "person__retired_at": None}
    medicals = current(MedicalFitness).filter(person=OuterRef("pk"), examined_on__lte=_latest_day(scope))
    held = current(QualificationHeld).filter(
        Q(expires_on=None) | Q(expires_on__gte=_latest_day(scope) - EXPIRED_SHOWN), **of_people
    )
    yield "person", people.values_list("site_id", "pk", "key", "name")
    newest = medicals.order_by("-examined_on", "-id")
    yield "medical", _newest(people, newest, "person_id", "examined_on", "good_until", "outcome")
    yield (
        "held",
        held.values_list(
            "person_id", "kind__key", "kind__name", "issued_on", "expires_on", "second_look_by", "kind__recency_days"
        ),
    )
    waits = current(PressureWait).filter(ends_at__gt=scope.at, **of_people)
    yield "wait", waits.values_list("person_id", "starts_at", "ends_at")
    duty = current(DutyPeriod).filter(ends_at__gt=scope.at, **of_people)
    yield from _practice(scope, people, of_people)
    yield "duty", duty.values_list("person_id", "on_call", "starts_at", "ends_at")


def _practice(scope: Scope, people: QuerySet[Person], of_people: dict[str, Any]) -> Iterator[tuple[str, Tuples]]:
    """Yield the newest run and drill of each person in each role, and what each declared last."""
    runs = current(RunPlace).filter(run__retired_at=None, run__ended_at__lte=scope.at, **of_people)
    drills = current(DrillPart).filter(
        drill__retired_at=None, drill__reached=True, drill__held_at__lte=scope.at, **of_people
    )
    declared = current(FitDeclared).filter(person=OuterRef("pk"), declared_at__lte=scope.at)
    yield "practised", runs.order_by().values_list("person_id", "role").annotate(last=Max("run__ended_at"))
    yield "drilled", drills.order_by().values_list("person_id", "role").annotate(last=Max("drill__held_at"))
    fields = ("person_id", "fit", "declared_at", "until")
    yield "declared", _newest(people, declared.order_by("-declared_at", "-id"), *fields)


def _checks(scope: Scope) -> Iterator[tuple[str, Tuples]]:
    sheets = current(CheckSheet).filter(chamber__in=scope.chambers)
    signed = (
        current(Check)
        .filter(sheet=OuterRef("pk"), state=CheckState.SIGNED, signed_at__lte=scope.at)
        .order_by("-signed_at", "-id")
    )
    yield "sheet", sheets.values_list("chamber_id", "pk", "key", "title")
    fields = ("sheet_id", "pk", "signed_at", "result", "signed_by", "number")
    yield "signed check", _newest(sheets, signed, *fields)
