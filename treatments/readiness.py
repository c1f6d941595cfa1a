"""What treatments say for readiness: plans, needs, waivers and the run that is on."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from django.db.models import OuterRef, Q

from facility.compute import facts as f
from facility.gathered import AsJson, Row, Scope, branch, current, minute_down, minute_up, nested
from treatments.models import Need, NeedMember, Plan, Run, Waiver

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from django.db.models import QuerySet

    from facility.compute.instants import Instant

PLAN, NEED, WAIVER, RUN = "plan", "need", "waiver", "run"
IN_USE = "chamber"
"""Need and member of a chamber in use. Only there while a run is on: else every answer would carry it."""
IN_USE_TOO = "chamber free"
"""The need's name where the site has one of its own that is called so; no key of a site has a space."""


class PlanRow(NamedTuple):
    """A plan in force, with the needs [pk] it rests on."""

    chamber: int
    pk: int
    key: str
    name: str
    party: str
    place: int
    table_min: int
    margin_min: int
    wait_min: int
    crew_waivable: bool
    extensions: list[Any]
    roles: list[Any]
    emergency_roles: list[Any]
    gas: dict[str, Any]
    needs: list[Row]

    def emergency(self) -> tuple[f.Role, ...]:
        """Return the least crew in an emergency; nothing where the house wrote down none."""
        return tuple(role_facts(one) for one in self.emergency_roles)


class NeedRow(NamedTuple):
    """A need, with its members [equipment, bank, sheet], of which one is given."""

    chamber: int
    pk: int
    key: str
    name: str
    k: int
    from_min: int
    to_min: int | None
    effect: Any
    waivable: bool
    gas: str
    source: str
    lift: str
    members: list[Row]


class WaiverRow(NamedTuple):
    """A waiver that is or will be in force. ``need`` None: the crew."""

    chamber: int
    need: int | None
    pk: int
    plans: list[str] | None
    starts_at: str
    ends_at: str
    to_end_of_run: bool
    accepts: int
    without: list[str]
    why: str
    granted_by: str


class RunRow(NamedTuple):
    """A run that is on or ended lately, with the banks [pk] it breathes from."""

    chamber: int
    pk: int
    number: int
    started_at: str
    planned_end_at: str
    ended_at: str | None
    banks: list[Row]

    def is_on(self, at: Instant) -> bool:
        """Whether it is under way at ``at``."""
        return self.ended_at is None or minute_down(self.ended_at) > at


def branches(scope: Scope) -> list[QuerySet[Any]]:
    """Return this app's rows: plans in force with what they rest on, waivers, and runs that still bear on anything."""
    rests = Plan.needs.through._default_manager.filter(plan=OuterRef("pk"), need__retired_at=None)
    members = current(NeedMember).filter(need=OuterRef("pk")).order_by("pk")
    waivers = current(Waiver).filter(ends_at__gt=scope.at, chamber__in=scope.chambers)
    banks = current(NeedMember).filter(need__plans=OuterRef("plan"), need__retired_at=None, bank__isnull=False)
    return [
        branch(
            PLAN, current(Plan).filter(chamber__in=scope.chambers),
            "chamber_id", "pk", "key", "name", "party", "place", "table_min", "margin_min", "wait_min", "crew_waivable",
            AsJson("extensions"), AsJson("roles"), AsJson("emergency_roles"), AsJson("gas"), nested(rests, "need_id"),
        ),
        branch(
            NEED, current(Need).filter(chamber__in=scope.chambers),
            "chamber_id", "pk", "key", "name", "k", "from_min", "to_min", "effect", "waivable", "gas", "source", "lift",
            nested(members, "equipment_id", "bank_id", "sheet_id"),
        ),
        branch(
            WAIVER, waivers, "chamber_id", "need_id", "pk", AsJson("plans"), "starts_at", "ends_at", "to_end_of_run",
            "accepts", AsJson("without"), "why", "granted_by",
        ),
        branch(
            RUN, _runs(scope), "chamber_id", "pk", "number", "started_at", "planned_end_at", "ended_at",
            nested(banks, "bank_id"),
        ),
    ]  # fmt: skip


def _runs(scope: Scope) -> QuerySet[Run]:
    """Runs of all chambers at the sites (banks are shared) that are on, or ended lately."""
    return current(Run).filter(
        Q(ended_at=None) | Q(ended_at__gte=scope.since), chamber__site__in=scope.sites, started_at__lte=scope.at
    )


def plan_facts(row: PlanRow, needs: Iterable[str]) -> f.Plan:
    """Turn a plan in force into facts."""
    return f.Plan(
        table_min=row.table_min,
        margin_min=row.margin_min,
        needs=tuple(needs),
        extensions=tuple(f.Extension(one["minutes"], one["allowed"]) for one in row.extensions),
        roles=tuple(role_facts(one) for one in row.roles),
        gas={name: f.GasDemand(one["demand"], one.get("reserve", 0)) for name, one in row.gas.items()},
        crew_waivable=bool(row.crew_waivable),
        wait_min=row.wait_min,
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


def need_facts(row: NeedRow, members: Iterable[str]) -> f.Need:
    """Turn a need into facts."""
    return f.Need(row.k, tuple(members), row.from_min, row.to_min, row.effect, bool(row.waivable), row.gas or None)


def waiver_facts(row: WaiverRow, needs: Mapping[int, str], plans: Mapping[str, f.Plan]) -> f.Waiver | None:
    """Turn a waiver into facts; None if nothing that it names is in force."""
    need = f.CREW if row.need is None else needs.get(row.need)
    known = None if not row.plans else tuple(plan for plan in row.plans if plan in plans)
    since, until = minute_up(row.starts_at), minute_down(row.ends_at)
    if need is None or known == () or until <= since:
        return None
    if row.need is not None:
        return f.Waiver(need, since, until, known, bool(row.to_end_of_run), row.accepts)
    roles = {role.role for name, plan in plans.items() if known is None or name in known for role in plan.roles}
    kept = tuple(role for role in row.without if role in roles)
    return f.Waiver(need, since, until, known, bool(row.to_end_of_run), 0, kept) if kept else None


def open_run(rows: Iterable[RunRow], at: Instant) -> RunRow | None:
    """Return the run that is on at ``at``, if any."""
    return next((row for row in rows if row.is_on(at)), None)


def run_ends(rows: Iterable[RunRow], at: Instant) -> tuple[Instant, ...]:
    """Return when runs ended: a check signed before no longer counts, as the what-if says."""
    return tuple(end for row in rows if row.ended_at is not None and (end := minute_down(row.ended_at)) <= at)


def in_use_facts(run: RunRow, at: Instant, turn_round_min: int) -> tuple[f.Need, f.Equipment]:
    """Return the need "chamber free" and its member, out until the planned end and the turn-round.

    A run that outlasts its plan keeps the chamber for the turn-round from now on.
    """
    since = minute_down(run.started_at)
    free = max(minute_up(run.planned_end_at), at) + turn_round_min
    shut = f.Defect(since, max(free, since + 1, at + 1))
    return f.Need(1, (IN_USE,), waivable=False), f.Equipment(results=(f.Result(since, "passed"),), defects=(shut,))


def bank_use(runs: Iterable[RunRow], at: Instant) -> dict[int, Instant]:
    """Return until when each bank was breathed from: a reading before that says nothing any more.

    While a run is on, a reading made after its start counts; once it ended, only one made after its end.
    """
    latest: dict[int, Instant] = {}
    for run in runs:
        used = minute_up(run.started_at if run.ended_at is None or run.is_on(at) else run.ended_at)
        for (bank,) in run.banks:
            latest[bank] = max(latest.get(bank, used), used)
    return latest
