"""The states of the acts on items, and the newest work on them outside any rule."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.db.models import OuterRef, QuerySet, Subquery

from maintenance.models import Equipment, IntervalRule, WorkRecord
from maintenance.upkeep.state import WORSE_FIRST, On, iter_states

if TYPE_CHECKING:
    from collections.abc import Iterable

    from facility.records.states import Moment
    from maintenance.upkeep.state import DueState


def with_loose_work(items: QuerySet[Equipment]) -> QuerySet[Any]:
    """Add to each item what its newest work outside any rule said."""
    newest = WorkRecord.objects.filter(equipment=OuterRef("pk"), rule=None, retired_at=None)
    newest = newest.order_by("-done_on", WORSE_FIRST, "-id")
    return items.annotate(
        loose_result=Subquery(newest.values("result")[:1]), loose_on=Subquery(newest.values("done_on")[:1])
    )


def rules_of(equipment_ids: Iterable[int], moment: Moment) -> dict[int, list[DueState]]:
    """Return the states of the current rules of each item, in the same few queries for all."""
    return _by_item(IntervalRule.objects.filter(equipment__in=list(equipment_ids), retired_at=None), moment)


def rules_of_site(moment: Moment) -> dict[int, list[DueState]]:
    """Return the states of the current rules of each current item of the page's site, in the same few queries."""
    rules = IntervalRule.objects.filter(equipment__site=moment.site, equipment__retired_at=None, retired_at=None)
    return _by_item(rules, moment)


def states_of(rule_ids: Iterable[int], moment: Moment) -> dict[int, DueState]:
    """Return the states of some rules by their numbers."""
    rules = IntervalRule.objects.filter(pk__in=list(rule_ids))
    return {state.rule: state for state in iter_states(rules, {moment.site: on_of(moment)})}


def on_of(moment: Moment) -> On:
    """Return what the rules of the page's site are judged on."""
    return On(moment.today, str(moment.zone), moment.soon, bool(moment.rules["window_keeps_good"]))


def _by_item(rules: QuerySet[IntervalRule], moment: Moment) -> dict[int, list[DueState]]:
    found: dict[int, list[DueState]] = {}
    for state in iter_states(rules, {moment.site: on_of(moment)}):
        found.setdefault(state.equipment, []).append(state)
    return found
