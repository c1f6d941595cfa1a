"""How each kind of row hangs on its site, so that no page reaches past it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.db.models import Q

from facility.models import (
    Chamber,
    CheckSheet,
    Contact,
    DutyPeriod,
    Lock,
    MedicalFitness,
    Organisation,
    Person,
    QualificationHeld,
    QualificationKind,
    Site,
    User,
)
from maintenance.models import (
    BankReading,
    Counter,
    Cylinder,
    CylinderAnalysis,
    Equipment,
    GasBank,
    IntervalRule,
    Opening,
    Supply,
    WorkRecord,
)
from treatments.models import PressureWait

if TYPE_CHECKING:
    from django.db.models import Model, QuerySet

#: lookup from the row to its site
TO_SITE: dict[type[Model], str] = {
    Organisation: "sites",
    Site: "pk",
    Chamber: "site",
    Lock: "chamber__site",
    Person: "site",
    QualificationKind: "organisation__sites",
    QualificationHeld: "person__site",
    MedicalFitness: "person__site",
    DutyPeriod: "person__site",
    Contact: "site",
    CheckSheet: "chamber__site",
    Equipment: "site",
    IntervalRule: "equipment__site",
    Counter: "site",
    WorkRecord: "equipment__site",
    GasBank: "site",
    Cylinder: "bank__site",
    CylinderAnalysis: "cylinder__bank__site",
    BankReading: "bank__site",
    Supply: "site",
    Opening: "chamber__site",
    PressureWait: "person__site",
}

#: what the name of a row is made of, fetched with it
NAME_JOINS: dict[type[Model], tuple[str, ...]] = {
    Lock: ("chamber",),
    IntervalRule: ("equipment",),
    QualificationHeld: ("person", "kind"),
    MedicalFitness: ("person",),
    DutyPeriod: ("person",),
    WorkRecord: ("equipment",),
    CylinderAnalysis: ("cylinder",),
    BankReading: ("bank",),
    Opening: ("chamber",),
    PressureWait: ("person",),
}


def of_site(model: type[Model], site: Site) -> QuerySet[Any]:
    """Return the rows of ``model`` that belong to ``site``."""
    rows: QuerySet[Any] = model._default_manager.all()
    if model is User:
        here = Q(memberships__site=site, memberships__retired_at=None)
        return rows.filter(here | Q(is_superuser=True)).distinct()
    return rows.filter(**{TO_SITE[model]: site.pk}).select_related(*NAME_JOINS.get(model, ()))
