"""Builders of practice and declarations."""

from __future__ import annotations

from datetime import datetime, timedelta

from facility import services
from facility.models import Drill, DrillKind, DrillPart, FitDeclared, Person
from tests import make
from tests.facility.readiness_db import build
from treatments.models import Plan, RunPlace


def took_part(who: Person, plan: Plan, role: str, ended_at: datetime) -> RunPlace:
    """Store an ended run with somebody in a role."""
    run = build.run(plan, ended_at - timedelta(hours=1), ended_at, ended_at)
    return services.add(RunPlace(run=run, role=role, label=who.name, person=who), by=make.BY)


def drilled(who: Person, held_at: datetime, *, reached: bool = True, role: str = "") -> DrillPart:
    """Store a drill with somebody in it."""
    number = DrillKind.objects.count() + 1
    kind = services.add(DrillKind(site=who.site, key=f"drill-{number}", name=f"Drill {number}"), by=make.BY)
    drill = services.add(
        Drill(kind=kind, held_at=held_at, reached=reached, went_wrong="" if reached else "slow", led_by="Ina Test"),
        by=make.BY,
    )
    return services.add(DrillPart(drill=drill, person=who, role=role), by=make.BY)


def declared(who: Person, at: datetime, until: datetime, *, fit: bool) -> FitDeclared:
    """Store a declaration."""
    return services.add(FitDeclared(person=who, declared_at=at, until=until, fit=fit, occurred_at=at), by=make.BY)
