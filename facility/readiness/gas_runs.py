"""Gas and runs together: how many runs are left of each plan, and whether what was drawn is what was expected."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _

from facility.compute.members import content_at
from facility.readiness.defects_now import out_of_service
from facility.readiness.gas_sums import banks_of
from facility.shown import instant_text
from maintenance.compute.cross_checks import compare, falls_unused, used_between
from maintenance.compute.supply import runs_left
from maintenance.gas_room.findings import Finding
from treatments.models import Run

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from datetime import datetime

    from facility.readiness.services import Answer
    from maintenance.gas_room.content import BankState
    from maintenance.gas_room.findings import Look

Course = list[tuple[Any, float]]


@dataclass(frozen=True, slots=True)
class BankRuns:
    """How many runs one bank still carries, from what counts of it now [L]."""

    name: str
    litres: int
    runs: int
    unread: bool


@dataclass(frozen=True, slots=True)
class PlanRuns:
    """The runs that are left of one plan by one gas [L at 15 degC and 1 atm]."""

    chamber: str
    plan: str
    party: str
    gas: str
    demand: int
    reserve: int
    banks: tuple[BankRuns, ...]

    @property
    def runs(self) -> int:
        """Runs one after the other, each from one bank, as the needs ask."""
        return sum(one.runs for one in self.banks)

    @property
    def unread(self) -> bool:
        """Whether a bank is unread or its reading too old: then it is no more than as far as read."""
        return any(one.unread for one in self.banks)


def plans_left(answer: Answer) -> Iterator[PlanRuns]:
    """Yield the runs left of each plan and gas of a chamber."""
    for plan, facts in answer.facts.plans.items():
        named = answer.names.plans[plan]
        for gas, demand in facts.gas.items():
            if Fraction(demand.demand) <= 0:
                continue
            needed, reserve = _up(demand.demand), _up(demand.reserve)
            banks = tuple(_bank(answer, plan, name, (needed, reserve)) for name in banks_of(answer, plan, gas))
            yield PlanRuns(answer.chamber.name, named.name, named.party, gas, needed, reserve, banks)


def _bank(answer: Answer, plan: str, name: str, needed: tuple[int, int]) -> BankRuns:
    bank: Any = answer.facts.members[name]
    content, unread = content_at(bank, answer.at, answer.facts.age_limit_min.bank or 0)
    litres = 0 if out_of_service(answer, name, plan) else int(content)
    return BankRuns(answer.names.banks[name].name, litres, runs_left(litres, *needed), unread)


def _up(number: Any) -> int:
    whole = Fraction(number)
    return -(-whole.numerator // whole.denominator)


def most_needed(rows: Sequence[PlanRuns]) -> dict[str, int]:
    """Return by gas what the plan that needs most asks a bank to hold: demand and reserve [L]."""
    found: dict[str, int] = {}
    for row in rows:
        found[row.gas] = max(found.get(row.gas, 0), row.demand + row.reserve)
    return found


@dataclass(frozen=True, slots=True)
class RunGas:
    """A run that ended, and what its plan expects it to draw by gas [L]."""

    pk: int
    number: int
    chamber_pk: int
    started_at: datetime
    ended_at: datetime
    gas: Mapping[str, float]


def ended_runs(look: Look) -> list[RunGas]:
    """Return the runs that ended since the look begins, oldest first; one query."""
    rows = Run.objects.filter(
        chamber__site=look.site, retired_at=None, started_at__isnull=False, ended_at__gte=look.since
    ).order_by("started_at", "id").values_list("pk", "number", "chamber", "started_at", "ended_at", "plan__gas")  # fmt: skip
    return [
        RunGas(pk, number, chamber, started_at, ended_at, _demands(gas))
        for pk, number, chamber, started_at, ended_at, gas in rows
        if started_at is not None and ended_at is not None
    ]


def _demands(gas: Mapping[str, Any] | None) -> dict[str, float]:
    return {name: float(one["demand"]) for name, one in (gas or {}).items()}


def of_runs(
    look: Look, states: Sequence[BankState], courses: Mapping[int, Course], runs: Sequence[RunGas]
) -> Iterator[Finding]:
    """Yield what gas and runs tell together: drawn against expected, and falls without a run."""
    for state in states:
        spans = [(run.started_at, run.ended_at) for run in runs]
        yield from _falls(look, state, courses[state.bank.pk], spans)
    seen: set[tuple[Any, ...]] = set()
    for run in runs:
        for gas in run.gas:
            banks = [one for one in states if one.bank.gas == gas and one.bank.chamber_id in (None, run.chamber_pk)]
            yield from _drawn(look, gas, [courses[one.bank.pk] for one in banks], (run, runs, seen))


def _falls(look: Look, state: BankState, course: Course, spans: list[Any]) -> Iterator[Finding]:
    limit = float(look.house["unused_fall_percent"])
    for fall in falls_unused(course, spans, limit):
        first = _("%(litres)d L on %(at)s") % {"litres": fall.before, "at": instant_text(fall.from_at, look.zone)}
        second = _("%(litres)d L on %(at)s, %(percent).1f %% less") % {
            "litres": fall.after, "at": instant_text(fall.to_at, look.zone), "percent": fall.percent}  # fmt: skip
        yield Finding(
            _("Fell although no run drew on it"), state.bank.name, first, second, _("%g %%") % limit,
            look.page("maintenance:bank", state.bank.pk),
            look.defect(_("Bank falls without a run: %(first)s, %(second)s") % {"first": first, "second": second},
                        bank=state.bank.pk),
        )  # fmt: skip


def _drawn(
    look: Look, gas: str, courses: list[Course], about: tuple[RunGas, Sequence[RunGas], set[Any]]
) -> Iterator[Finding]:
    run, runs, seen = about
    pairs = [found for course in courses if (found := used_between(course, run.started_at, run.ended_at))]
    if len(pairs) != len(courses) or not pairs:
        return
    begin, end = min(before[0] for before, _after in pairs), max(after[0] for _before, after in pairs)
    if (gas, begin, end) in seen:
        return
    seen.add((gas, begin, end))
    within = [one for one in runs if one.started_at >= begin and one.ended_at <= end and gas in one.gas]
    expected = sum(one.gas[gas] for one in within)
    drawn = sum(before[1] - after[1] for before, after in pairs)
    percent = float(look.house["used_gas_percent"])
    judged = compare(expected, drawn, percent)
    if not judged.over:
        return
    numbers = ", ".join(str(one.number) for one in within)
    yield Finding(
        _("Gas drawn against gas expected"), _("%(gas)s, run %(numbers)s") % {"gas": gas, "numbers": numbers},
        _("plan: %d L") % expected, _("drawn: %d L by the readings before and after") % drawn,
        _("%(percent)g %%, %(limit)d L") % {"percent": percent, "limit": judged.limit},
        look.page("treatments:run", run.pk),
    )  # fmt: skip
