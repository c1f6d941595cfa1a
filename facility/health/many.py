"""The measures of a box with many chambers: from the answers kept for the organisation's page, as a scrape has seconds."""

from __future__ import annotations

from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from facility.fleet.board import Asked, board
from facility.fleet.scope import every_chamber
from facility.health.exposition import Gauge
from facility.health.plan_gauges import PlanGauges

if TYPE_CHECKING:
    from datetime import datetime

    from facility.fleet.board import Standing


def of_many(at: datetime) -> list[Gauge]:
    """Return the state of every plan and what lapses next in every chamber. Ten queries at most.

    What was kept and does not count any more is Not known, and its days are left out.
    """
    plans = PlanGauges()
    days = Gauge("deepstead_chamber_next_lapse_days", "Days to the nearest last good day of a chamber and its site.")
    overdue = Gauge("deepstead_chamber_overdue_things", "Things of a chamber and its site past their day.")
    for row in board(every_chamber(), Asked(), at).rows:
        labels = {"site": row.place.site_key, "chamber": row.place.key}
        for plan in row.plans():
            plans.add(plan.state, plan.holds_until, **labels, plan=plan.plan)
        _add_due(row, days, overdue, at, labels)
    return [*plans.both(), days, overdue]


def _add_due(row: Standing, days: Gauge, overdue: Gauge, at: datetime, labels: dict[str, str]) -> None:
    if row.known is None:
        return
    known = row.live or row.place
    overdue.add(float(known.overdue), **labels)
    if known.lapses_on is not None:
        today = at.astimezone(ZoneInfo(row.place.zone)).date()
        days.add(float((known.lapses_on - today).days), **labels)
