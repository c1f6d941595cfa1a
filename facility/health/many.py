"""The measures of a box with many chambers: from the answers kept for the organisation's page, as a scrape has seconds."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from facility.compute.states import State
from facility.fleet.board import Asked, board
from facility.fleet.scope import every_chamber
from facility.gathered import current
from facility.health.exposition import Gauge
from facility.health.plan_gauges import PlanGauges
from treatments.models import Plan

if TYPE_CHECKING:
    from datetime import datetime

    from facility.fleet.board import Standing


def of_many(at: datetime) -> list[Gauge]:
    """Return the state of every chamber and plan and what lapses next in each. Eleven queries at most.

    What was kept and does not count any more, or was never reckoned, is Not known, and its days are left out.
    """
    plans = PlanGauges()
    days = Gauge("deepstead_chamber_next_lapse_days", "Days to the nearest last good day of a chamber and its site.")
    overdue = Gauge("deepstead_chamber_overdue_things", "Things of a chamber and its site past their day.")
    rows = board(every_chamber(), Asked(), at).rows
    in_force = _in_force() if any(row.known is None for row in rows) else {}
    for row in rows:
        labels = {"site": row.place.site_key, "chamber": row.place.key}
        plans.add_chamber(str(row.state), **labels)
        if row.known is None:
            for key in in_force.get(row.place.chamber, ()):
                plans.add(str(State.NOT_KNOWN), None, **labels, plan=key)
            continue
        for plan in row.plans():
            plans.add(plan.state, plan.holds_until, **labels, plan=plan.plan)
        _add_due(row, days, overdue, at, labels)
    return [*plans.all(), days, overdue]


def _in_force() -> dict[int, list[str]]:
    """Return the keys of the plans by chamber, as they are now: what was kept may lack some. One query."""
    found: dict[int, list[str]] = defaultdict(list)
    rows = current(Plan).filter(chamber__retired_at=None, chamber__site__retired_at=None).order_by("chamber_id", "key")
    for chamber, key in rows.values_list("chamber_id", "key"):
        found[chamber].append(key)
    return found


def _add_due(row: Standing, days: Gauge, overdue: Gauge, at: datetime, labels: dict[str, str]) -> None:
    known = row.live or row.place
    overdue.add(float(known.overdue), **labels)
    if known.lapses_on is not None:
        today = at.astimezone(ZoneInfo(row.place.zone)).date()
        days.add(float((known.lapses_on - today).days), **labels)
