"""The board in plain values, for programs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from facility.compute.instants import format_instant, instant_of
from facility.fleet.lines import need_words
from facility.readiness.services import caution
from facility.readiness.telling.availability import call_words

if TYPE_CHECKING:
    from datetime import datetime

    from facility.fleet.board import Board, Standing
    from facility.fleet.states import PlanState

Plain = dict[str, Any]


def plain(found: Board, at: datetime) -> Plain:
    """Return the board. No state may be shown after its ``not_after``."""
    return {
        "at": written(at),
        "counts": found.counts,
        "chambers": [_chamber(row) for row in found.rows],
        "call_first": call_words(),
        "caution": caution(),
    }


def written(moment: datetime | None) -> str | None:
    """Write an instant, seconds cut off, or nothing."""
    return None if moment is None else format_instant(instant_of(moment))


def _chamber(row: Standing) -> Plain:
    place, known = row.place, row.known
    beside = row.live or place
    counts = known is not None
    return {
        "organisation": place.organisation, "site": place.site_key, "site_name": place.site_name, "zone": place.zone,
        "chamber": place.key, "name": place.name, "state": str(row.state),
        "as_known_at": written(known.known_at) if known else None, "not_after": written(row.not_after),
        "holds_until": written(row.holds_until),
        "why_not_known": str(row.old) if row.old and not row.live else None,
        "last_known": _last(row),
        "tables": [_plan(one) for one in ([row.plan] if row.plan else row.plans())],
        "lapses_on": str(beside.lapses_on) if counts and beside.lapses_on else None,
        "lapses_what": beside.lapses_what if counts else "",
        "overdue": beside.overdue if counts else None,
        "run_under_way": beside.in_use_by or None if counts else None,
    }  # fmt: skip


def _last(row: Standing) -> Plain | None:
    kept = row.place.kept
    if row.known is not None or kept is None:
        return None
    return {"state": row.place.state, "at": written(kept.known_at)}


def _plan(plan: PlanState) -> Plain:
    return {
        "table": plan.plan, "name": plan.name, "party": plan.party, "state": plan.state,
        "holds_until": written(plan.holds_until), "need": need_words(plan),
    }  # fmt: skip
