"""Planned shut-downs as facts: a need of every plan whose one member is out while the chamber is shut."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from facility.compute import facts as f
from facility.gathered import Scope, branch, current, minute_down, minute_up
from facility.models import ShutDown

if TYPE_CHECKING:
    from collections.abc import Iterable

    from django.db.models import QuerySet

    from facility.compute.instants import Instant

SHUT = "shut"
SHUT_DOWN = "shut down"
"""Need and member; no key of a site has a space. Only there while a shut-down is on or ahead."""


class ShutRow(NamedTuple):
    """One shut-down that is on or ahead."""

    chamber: int
    pk: int
    starts_at: str
    ends_at: str
    why: str


def branches(scope: Scope) -> list[QuerySet[Any]]:
    """Return the shut-downs of some chambers that are not over."""
    rows = current(ShutDown).filter(chamber__in=scope.chambers, ends_at__gt=scope.at)
    return [branch(SHUT, rows, "chamber_id", "pk", "starts_at", "ends_at", "why")]


def shut_facts(rows: Iterable[ShutRow], at: Instant) -> tuple[f.Need, f.Equipment]:
    """Return the need that the chamber is not shut, and its member, out during each span."""
    spans = tuple(f.Defect(minute_down(row.starts_at), minute_up(row.ends_at)) for row in rows)
    return f.Need(1, (SHUT_DOWN,), waivable=False), f.Equipment(results=(f.Result(at, "passed"),), defects=spans)
