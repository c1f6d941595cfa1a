"""When the acts on an item fall due, from the newest work under each rule."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.db.models import Case, OuterRef, QuerySet, Subquery, Value, When

from maintenance.compute.intervals import next_due
from maintenance.models import Equipment, IntervalRule, WorkRecord, WorkResult

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date

    from facility.models import Site

#: of two records of one day the worse counts
_WORSE_FIRST = Case(
    When(result=WorkResult.FAILED, then=Value(0)),
    When(result=WorkResult.UNREAD, then=Value(1)),
    default=Value(2),
)


def with_newest_work(rules: QuerySet[IntervalRule]) -> QuerySet[Any]:
    """Add to each rule what its newest work said and when it was last passed."""
    newest = WorkRecord.objects.filter(rule=OuterRef("pk"), retired_at=None).order_by("-done_on", _WORSE_FIRST, "-id")
    passed = newest.filter(result=WorkResult.PASSED)
    return rules.annotate(
        newest_result=Subquery(newest.values("result")[:1]),
        newest_on=Subquery(newest.values("done_on")[:1]),
        passed_on=Subquery(passed.values("done_on")[:1]),
        passed_due=Subquery(passed.values("due_on")[:1]),
    )


def with_loose_work(items: QuerySet[Equipment]) -> QuerySet[Any]:
    """Add to each item what its newest work outside any rule said."""
    newest = WorkRecord.objects.filter(equipment=OuterRef("pk"), rule=None, retired_at=None)
    newest = newest.order_by("-done_on", _WORSE_FIRST, "-id")
    return items.annotate(
        loose_result=Subquery(newest.values("result")[:1]), loose_on=Subquery(newest.values("done_on")[:1])
    )


def due_on(rule: Any) -> date | None:
    """Return the last good day of a rule that ``with_newest_work`` fetched; none if never passed."""
    if rule.passed_on is None:
        return None
    given: date | None = rule.passed_due
    return given or next_due(rule.passed_on, months=rule.months, days=rule.days)


def rules_of(equipment_ids: Iterable[int]) -> dict[int, list[Any]]:
    """Return the current rules of each item, in one query."""
    return _by_item(IntervalRule.objects.filter(equipment__in=list(equipment_ids), retired_at=None))


def rules_of_site(site: Site) -> dict[int, list[Any]]:
    """Return the current rules of each current item of a site, in one query."""
    return _by_item(IntervalRule.objects.filter(equipment__site=site, equipment__retired_at=None, retired_at=None))


def _by_item(rules: QuerySet[IntervalRule]) -> dict[int, list[Any]]:
    found: dict[int, list[Any]] = {}
    for rule in with_newest_work(rules).select_related("equipment"):
        found.setdefault(rule.equipment_id, []).append(rule)
    return found
