"""The answer for each of many chambers in few words, as pages over many sites show and keep it."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from facility.compute.flags import FlagState, flag_of
from facility.compute.fleet import chamber_state
from facility.compute.instants import datetime_of
from facility.compute.states import FindingState, State
from facility.gathered import branch, current, fetch
from facility.readiness.gather import in_parts
from facility.readiness.services import Answer
from facility.sweep.rows import things_of
from maintenance.models import Equipment, IntervalRule

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping
    from datetime import date

    from facility.compute.findings import Evaluation
    from facility.compute.flags import Thing
    from facility.models import Chamber
    from facility.readiness.gather import Records

PAST = frozenset({FlagState.OVERDUE, FlagState.LAPSED, FlagState.NEVER})
NAME_LENGTH, RUN_LENGTH = 200, 40


@dataclass(frozen=True, slots=True)
class PlanState:
    """One plan: its word, the first start with a worse one, and the first need that limits it or stands in the way.

    ``called`` is the need's name as recorded, empty for those that every chamber has; ``lift`` who can lift it.
    """

    plan: str
    name: str
    party: str
    state: str
    holds_until: datetime | None
    need: str
    called: str
    lift: str


@dataclass(frozen=True, slots=True)
class ChamberState:
    """One chamber at an instant. ``overdue``: things of it and its site past their day or never recorded."""

    chamber: int
    state: str
    holds_until: datetime | None
    plans: tuple[PlanState, ...]
    lapses_on: date | None
    lapses_what: str
    overdue: int
    in_use_by: str


def states_of(chambers: Iterable[Chamber], at: datetime, *, due: bool = True) -> Iterator[ChamberState]:
    """Yield the state of each chamber at ``at``, reckoned from the rows now. Seven queries for each 100 chambers.

    Without ``due`` nothing is said of what lapses and what is past its day: two queries.
    """
    for records in in_parts(chambers, at):
        zones = {site: (zone, at.astimezone(ZoneInfo(zone)).date()) for site, zone in records.zones.items()}
        things = things_of(records.rules, zones) if due else {}
        owners = owners_of(records.chambers) if due else {}
        for chamber in records.chambers:
            own = [one for one in things.get(chamber.site_id, ()) if owners.get(one.key, chamber.pk) == chamber.pk]
            yield _state(records, chamber, own, zones[chamber.site_id][1])


def owners_of(chambers: Iterable[Chamber]) -> Mapping[str, int]:
    """Return the chamber of each thing that belongs to one, where a site has several chambers."""
    several = [site for site, number in Counter(one.site_id for one in chambers).items() if number > 1]
    if not several:
        return {}
    rules = current(IntervalRule).filter(equipment__site__in=several, equipment__chamber__isnull=False)
    lives = current(Equipment).filter(site__in=several, chamber__isnull=False, life_ends_on__isnull=False)
    rows = fetch([branch("rule", rules, "pk", "equipment__chamber_id"), branch("life", lives, "pk", "chamber_id")])
    return {f"{kind}:{pk}": chamber for kind, found in rows.items() for pk, chamber in found}


def _state(records: Records, chamber: Chamber, things: list[Thing], today: date) -> ChamberState:
    answer = Answer(records, chamber)
    plans = tuple(_plan(answer, plan, found) for plan, found in answer.evaluations.items())
    ends = [one.holds_until for one in plans if one.holds_until is not None]
    flags = [flag_of(one, today, 0) for one in things]
    ahead = [(day, one.name) for one in things if (day := one.good_through) is not None and day >= today]
    lapses_on, lapses_what = min(ahead, default=(None, ""))
    run = records.run_on(chamber)
    return ChamberState(
        chamber=chamber.pk,
        state=str(chamber_state([State(one.state) for one in plans])),
        holds_until=min(ends, default=None),
        plans=plans,
        lapses_on=lapses_on,
        lapses_what=lapses_what[:NAME_LENGTH],
        overdue=sum(flag is not None and flag.state in PAST for flag in flags),
        in_use_by=str(run.number)[:RUN_LENGTH] if run else "",
    )


def _plan(answer: Answer, plan: str, found: Evaluation) -> PlanState:
    row = answer.names.plans[plan]
    need = next(iter(telling(found)), "")
    recorded = answer.names.needs.get(need)
    return PlanState(
        plan=plan,
        name=row.name,
        party=row.party,
        state=str(found.state),
        holds_until=None if found.holds_until is None else datetime_of(found.holds_until),
        need=need,
        called=recorded.name if recorded else "",
        lift=recorded.lift if recorded else "",
    )


def telling(found: Evaluation) -> tuple[str, ...]:
    """Return what stands in the way, else what limits now, else what ends first."""
    if found.in_the_way:
        return tuple(found.in_the_way)
    limits = tuple(name for name, one in found.findings.items() if one.state == FindingState.LIMITS)
    return limits or tuple(found.limiting)


def dump_plan(plan: PlanState) -> dict[str, Any]:
    """Write a plan for a JSON column."""
    return {
        "plan": plan.plan, "name": plan.name, "party": plan.party, "state": plan.state, "need": plan.need,
        "called": plan.called, "lift": plan.lift,
        "holds_until": None if plan.holds_until is None else plan.holds_until.isoformat(),
    }  # fmt: skip


def load_plan(shape: dict[str, Any]) -> PlanState:
    """Read a plan from a JSON column."""
    until = shape.pop("holds_until")
    return PlanState(**shape, holds_until=None if until is None else datetime.fromisoformat(until))
