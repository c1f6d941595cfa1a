"""What a defect does: which plans it stops or limits and which still hold, and how long a thing was down."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import datetime


class Hit(StrEnum):
    """What becomes of a plan. Later ones are worse."""

    HOLDS = "holds"
    LIMITED = "limited"
    STOPPED = "stopped"


_ORDER = list(Hit)


@dataclass(frozen=True, slots=True)
class NeedSeen:
    """A need that the defective thing is a member of.

    ``wanted`` of its ``members`` are needed; of the others ``good`` have no defect and ``limited`` are restricted.
    ``limits_only``: the need itself only limits a run that lacks it. ``plans`` are keys.
    """

    name: str
    wanted: int
    members: int
    good: int
    limited: int
    limits_only: bool
    plans: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a plan is hit: the need, how many of how many it asks for, how many are left without a defect."""

    plan: str
    hit: Hit
    need: str
    wanted: int
    members: int
    left: int


def _hit(need: NeedSeen, *, out: bool) -> Hit:
    """Return what one need makes of its plans: an item out counts for nothing, a restricted one as limited."""
    limited = need.limited + (0 if out else 1)
    if need.good >= need.wanted:
        return Hit.HOLDS
    if need.good + limited >= need.wanted or need.limits_only:
        return Hit.LIMITED
    return Hit.STOPPED


def reasons(needs: Iterable[NeedSeen], *, out: bool, only: Iterable[str] | None = None) -> list[Reason]:
    """Return for each plan that rests on the thing the worst that its needs make of it, worst plans first.

    ``out``: the thing is taken out of service, else it is restricted. ``only``: a defect of these plans alone.
    Other causes (dates, gas, crew) are not looked at: this says what the defect alone does.
    Source: the rule of readiness, a need is met by at least k of its members.
    """
    allowed = None if only is None else set(only)
    worst: dict[str, Reason] = {}
    for need in needs:
        hit = _hit(need, out=out)
        for plan in need.plans:
            if allowed is not None and plan not in allowed:
                continue
            before = worst.get(plan)
            if before is None or _ORDER.index(hit) > _ORDER.index(before.hit):
                left = need.good + need.limited + (0 if out else 1)
                worst[plan] = Reason(plan, hit, need.name, need.wanted, need.members, left)
    return sorted(worst.values(), key=lambda one: (-_ORDER.index(one.hit), one.plan))


def down_min(found_at: datetime, until: datetime) -> int:
    """Return whole minutes from when a defect was found until it was returned, or until now; never below 0."""
    return max(0, int((until - found_at).total_seconds() // 60))


def together_min(spans: Sequence[tuple[datetime, datetime]]) -> int:
    """Return the minutes that spans cover together; a minute under two defects counts once."""
    total, until = 0, None
    for start, end in sorted(spans):
        begin = start if until is None or start > until else until
        if end > begin:
            total += down_min(begin, end)
        until = end if until is None else max(until, end)
    return total
