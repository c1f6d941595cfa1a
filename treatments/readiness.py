"""What treatments say for readiness: plans, needs, waivers and the run that is on."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.db.models import F, Q

from facility.compute import facts as f
from facility.gathered import AsJson, Row, Scope, branch, current, minute_down, minute_up
from treatments.models import Need, NeedMember, Plan, Run, Waiver

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from django.db.models import QuerySet

    from facility.compute.instants import Instant

PLAN, RESTS, NEED, MEMBER, WAIVER, RUN, BREATHES = "plan", "rests", "need", "member", "waiver", "run", "breathes"
IN_USE = "chamber"
"""Need and member that a chamber in use gets; kept, so that no site's own key is shadowed, by a test of the forms."""


def branches(scope: Scope) -> list[QuerySet[Any]]:
    """Return this app's rows: plans in force with what they rest on, waivers, and runs that still bear on anything."""
    plans = current(Plan).filter(chamber__in=scope.chambers)
    rests = Plan.needs.through.objects.filter(
        plan__chamber__in=scope.chambers, plan__retired_at=None, need__retired_at=None
    )
    members = current(NeedMember).filter(need__chamber__in=scope.chambers, need__retired_at=None)
    runs = _runs(scope)
    breathes = runs.filter(
        plan__needs__retired_at=None, plan__needs__members__retired_at=None, plan__needs__members__bank__isnull=False
    )
    return [
        branch(
            PLAN, plans, "chamber_id", "pk", "key", "name", "party", "place", "table_min", "margin_min", "wait_min",
            "crew_waivable", AsJson("extensions"), AsJson("roles"), AsJson("gas"), "source",
        ),
        branch(RESTS, rests, "plan_id", "need_id"),
        branch(
            NEED, current(Need).filter(chamber__in=scope.chambers), "chamber_id", "pk", "key", "name", "k", "from_min", "to_min",
            "effect", "waivable", "gas", "source", "lift",
        ),
        branch(MEMBER, members, "need_id", "equipment_id", "bank_id", "sheet_id"),
        branch(
            WAIVER, current(Waiver).filter(ends_at__gt=scope.at, chamber__in=scope.chambers), "chamber_id", "need_id", "pk",
            AsJson("plans"), "starts_at", "ends_at", "to_end_of_run", "accepts", AsJson("without"), "why", "granted_by",
        ),
        branch(RUN, runs, "chamber_id", "pk", "number", "started_at", "planned_end_at", "ended_at"),
        branch(BREATHES, breathes, "pk", F("plan__needs__members__bank_id")),
    ]  # fmt: skip


def _runs(scope: Scope) -> QuerySet[Run]:
    """Runs of all chambers at the sites (banks are shared) that are on, or ended lately."""
    return current(Run).filter(
        Q(ended_at=None) | Q(ended_at__gte=scope.since),
        chamber__site__in=scope.sites, started_at__lte=scope.at,
    )  # fmt: skip


def plan_facts(row: Row, needs: Iterable[str]) -> f.Plan:
    """Turn a plan in force into facts."""
    _, _, _, _, _, _, table_min, margin_min, wait_min, crew_waivable, extensions, roles, gas, _ = row
    return f.Plan(
        table_min=table_min,
        margin_min=margin_min,
        needs=tuple(needs),
        extensions=tuple(f.Extension(one["minutes"], one["allowed"]) for one in extensions),
        roles=tuple(role_facts(one) for one in roles),
        gas={name: f.GasDemand(one["demand"], one.get("reserve", 0)) for name, one in gas.items()},
        crew_waivable=bool(crew_waivable),
        wait_min=wait_min,
    )


def role_facts(role: Mapping[str, Any]) -> f.Role:
    """Turn one role of a plan into facts."""
    return f.Role(
        role=role["role"],
        qualifications=tuple(role.get("qualifications", ())),
        medical=bool(role.get("medical", False)),
        count=role.get("count", 1),
        from_=role.get("from", 0),
        to=role.get("to"),
    )


def need_facts(row: Row, members: Iterable[str]) -> f.Need:
    """Turn a need into facts."""
    _, _, _, _, k, from_min, to_min, effect, waivable, gas, _, _ = row
    return f.Need(k, tuple(members), from_min, to_min, effect, bool(waivable), gas or None)


def waiver_facts(row: Row, needs: Mapping[int, str], plans: Mapping[str, f.Plan]) -> f.Waiver | None:
    """Turn a waiver into facts; None if nothing that it names is in force."""
    _, need_id, _, named, starts_at, ends_at, to_end_of_run, accepts, without, _, _ = row
    need = f.CREW if need_id is None else needs.get(need_id)
    known = None if not named else tuple(plan for plan in named if plan in plans)
    since, until = minute_up(starts_at), minute_down(ends_at)
    if need is None or known == () or until <= since:
        return None
    if need_id is not None:
        return f.Waiver(need, since, until, known, bool(to_end_of_run), accepts)
    roles = {role.role for name, plan in plans.items() if known is None or name in known for role in plan.roles}
    kept = tuple(role for role in without if role in roles)
    return f.Waiver(need, since, until, known, bool(to_end_of_run), 0, kept) if kept else None


def open_run(rows: Iterable[Row], at: Instant) -> Row | None:
    """Return the run that is on at ``at``, if any."""
    return next((row for row in rows if row[5] is None or minute_down(row[5]) > at), None)


def run_ends(rows: Iterable[Row], at: Instant) -> tuple[Instant, ...]:
    """Return when runs ended: a check signed before no longer counts, as the what-if says."""
    return tuple(end for row in rows if row[5] is not None and (end := minute_down(row[5])) <= at)


def in_use_facts(run: Row, at: Instant, turn_round_min: int) -> tuple[f.Need, f.Equipment]:
    """Return the need "chamber free" and its member, out until the planned end and the turn-round.

    A run that outlasts its plan keeps the chamber for the turn-round from now on.
    """
    since = minute_down(run[3])
    free = max(minute_up(run[4]), at) + turn_round_min
    member = f.Equipment(results=(f.Result(since, "passed"),), defects=(f.Defect(since, max(free, since + 1)),))
    return f.Need(1, (IN_USE,), waivable=False), member


def bank_use(runs: Iterable[Row], breathes: Iterable[Row], at: Instant) -> dict[int, Instant]:
    """Return until when each bank was breathed from: a reading before that says nothing any more.

    While a run is on, a reading made after its start counts; once it ended, only one made after its end.
    """
    used = {row[1]: minute_up(row[3] if row[5] is None or minute_down(row[5]) > at else row[5]) for row in runs}
    latest: dict[int, Instant] = {}
    for run_id, bank_id in breathes:
        if run_id in used:
            latest[bank_id] = max(latest.get(bank_id, used[run_id]), used[run_id])
    return latest
