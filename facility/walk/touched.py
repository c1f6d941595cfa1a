"""What rests on a thing that failed: its needs, and the plans that rest on those."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Prefetch, Q

from treatments.models import Need, NeedMember, Plan

if TYPE_CHECKING:
    from collections.abc import Iterable

    from facility.compute.sheets import Step
    from facility.models import Check


@dataclass(frozen=True, slots=True)
class Touched:
    """Names of the needs of which a step's item, bank or sheet is a member, and of their plans."""

    needs: tuple[str, ...]
    plans: tuple[str, ...]


def touched_by(check: Check, steps: Iterable[Step]) -> dict[str, Touched]:
    """Return by step key what rests on the item or bank of each step, or on the sheet itself."""
    wanted = list(steps)
    if not wanted:
        return {}
    members = _members(check, wanted)
    found: dict[str, Touched] = {}
    for step in wanted:
        own = {f"equipment:{step.tag}", f"bank:{step.bank}"} & members.keys() or {"sheet"} & members.keys()
        needs = [need for name in sorted(own) for need in members[name]]
        plans = sorted((plan for need in needs for plan in need.plans.all()), key=lambda plan: (plan.place, plan.key))
        found[step.key] = Touched(
            tuple(dict.fromkeys(need.name for need in needs)), tuple(dict.fromkeys(plan.name for plan in plans))
        )
    return found


def _members(check: Check, steps: list[Step]) -> dict[str, list[Need]]:
    of_steps = (
        Q(equipment__tag__in=[step.tag for step in steps if step.tag])
        | Q(bank__key__in=[step.bank for step in steps if step.bank])
        | Q(sheet_id=check.sheet_id)
    )
    in_force = Prefetch("need__plans", Plan.objects.filter(retired_at=None))
    rows = (
        NeedMember.objects.filter(
            of_steps, need__chamber_id=check.sheet.chamber_id, retired_at=None, need__retired_at=None
        )
        .select_related("need", "equipment", "bank")
        .prefetch_related(in_force)
    )
    members: dict[str, list[Need]] = defaultdict(list)
    for row in rows:
        name = f"equipment:{row.equipment.tag}" if row.equipment else f"bank:{row.bank.key}" if row.bank else "sheet"
        members[name].append(row.need)
    return members
