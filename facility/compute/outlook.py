"""Everything known of a facility from one instant on, worked out once and shared."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TypeAlias

from facility.compute.crew import PersonCalendar
from facility.compute.facts import (
    Bank,
    Check,
    Equipment,
    Facility,
    GasDemand,
    Plan,
    Role,
    Waiver,
)
from facility.compute.instants import Instant
from facility.compute.members import (
    bank_steps,
    check_age_steps,
    check_steps,
    content_steps,
    counters_level,
    equipment_steps,
)
from facility.compute.people import (
    duty_steps,
    medical_steps,
    qualification_steps,
    span_steps,
)
from facility.compute.shared_needs import SharedNeed
from facility.compute.signals import CONSTANTS, Signal, window, worst
from facility.compute.states import BAD, GOOD, LIMITED, UNKNOWN
from facility.compute.steps import Steps, worst_of_steps

Part: TypeAlias = tuple[int, int]
"""First and last minute of the run that matter, both included."""


@dataclass(frozen=True, slots=True)
class Run:
    """A run as it is asked for: of a plan, of its own length or of none."""

    name: str
    plan: Plan
    duration: int

    def part(self, first: int, last: int | None) -> Part:
        """The minutes from ``first`` to ``last`` (None: the end) that lie in the run."""
        duration = self.duration
        return (
            first if first < duration else duration,
            duration if last is None or last > duration else last,
        )


class Outlook:
    """Step functions of members and people from ``at`` on, shared by all plans.

    ``settled``: ages and content stay as judged at ``at`` (for the forecast).
    """

    def __init__(self, facility: Facility, at: Instant, *, settled: bool = False) -> None:
        """Look at ``facility`` from ``at`` on."""
        self.facility = facility
        self.at = at
        self.settled = settled
        self.shared: dict[str, SharedNeed | None] = {}
        self._steps: dict[object, Steps] = {}
        self._candidates: dict[object, list[tuple[int, PersonCalendar]]] = {}
        self.lapses: dict[object, Instant | None] = {}
        lengths = [plan.duration_min for plan in facility.plans.values()]
        self.longest = max(lengths, default=0)
        self.scoped = {
            name
            for name, member in facility.members.items()
            if not isinstance(member, Check) and any(defect.plans is not None for defect in member.defects)
        }

    def run(self, plan: str) -> Run:
        """The run that ``plan`` asks for."""
        found = self.facility.plans[plan]
        return Run(plan, found, found.duration_min)

    def point(self, run: Run) -> Run:
        """The same plan as a run of no length."""
        return Run(run.name, run.plan, 0)

    @cached_property
    def waivers(self) -> dict[str, list[Waiver]]:
        """Waivers by the need that they are written for."""
        found: dict[str, list[Waiver]] = {}
        for waiver in self.facility.waivers:
            found.setdefault(waiver.need, []).append(waiver)
        return found

    # Members

    def member(self, name: str, run: Run, part: Part, gas: str | None) -> Signal:
        """How good a member is for a run that starts at any instant from ``at`` on."""
        item = self.facility.members[name]
        if isinstance(item, Equipment):
            signal = window(self.calendar(name, run.name), *part)
            if not item.counters:
                return signal
            used = counters_level(item, run.duration)
            return worst((signal, CONSTANTS[used])) if used else signal
        calendar = window(self.calendar(name, run.name), *part)
        if isinstance(item, Bank):
            return worst((calendar, self._content(name, item, run, gas)))
        return worst((calendar, self._age(name, item)))

    def calendar(self, name: str, plan: str) -> Steps:
        """All that acts on a member at every instant, counters apart."""
        key = (name, plan) if name in self.scoped else name
        steps = self._steps.get(key)
        if steps is None:
            steps = self._steps[key] = self._calendar_of(name, plan)
        return steps

    def _calendar_of(self, name: str, plan: str) -> Steps:
        item = self.facility.members[name]
        if isinstance(item, Equipment):
            return equipment_steps(item, plan, self.facility.zone, self.at)
        if isinstance(item, Bank):
            return bank_steps(item, plan, self.facility.zone, self.at)
        return check_steps(item, self.at)

    def same_for_all(self, name: str) -> int | None:
        """Level of an item's counters, if neither they nor its defects look at the plan."""
        item = self.facility.members[name]
        if name in self.scoped or not isinstance(item, Equipment):
            return None
        if not item.counters:
            return GOOD
        level = counters_level(item, self.longest)
        return level if level == counters_level(item, 0) else None

    def _content(self, name: str, bank: Bank, run: Run, gas: str | None) -> Signal:
        if gas is not None and bank.gas != gas:
            return CONSTANTS[BAD]
        demand = None if gas is None else run.plan.gas.get(gas)
        if demand is None:
            return CONSTANTS[UNKNOWN]
        return self._judged_at_start(self._content_steps(name, bank, demand))

    def _content_steps(self, name: str, bank: Bank, demand: GasDemand) -> Steps:
        key = ("content", name, demand.demand, demand.reserve)
        if key not in self._steps:
            age = self.facility.age_limit_min.bank or 0
            self._steps[key] = content_steps(bank, demand, age, self.at)
        return self._steps[key]

    def _age(self, name: str, check: Check) -> Signal:
        key = ("age", name)
        if key not in self._steps:
            age = self.facility.age_limit_min.check
            self._steps[key] = check_age_steps(check, age, self.at)
        return self._judged_at_start(self._steps[key])

    def _judged_at_start(self, steps: Steps) -> Signal:
        if self.settled:
            return CONSTANTS[steps[1][0]]
        return window(steps, 0, 0)

    # People

    def candidates(self, role: Role) -> list[tuple[int, PersonCalendar]]:
        """Who holds on record all that a role asks: bit and calendar of each."""
        key = (role.qualifications, role.medical)
        found = self._candidates.get(key)
        if found is None:
            found = self._candidates[key] = [
                (1 << number, PersonCalendar(self._person(name, role)))
                for number, (name, person) in enumerate(self.facility.people.items())
                if all(one in person.qualifications for one in role.qualifications)
            ]
        return found

    def _person(self, name: str, role: Role) -> Steps:
        parts = [self.qualification(name, one) for one in role.qualifications]
        if role.medical:
            parts.append(self.medical(name))
        return worst_of_steps([self.presence(name), *parts], self.at)

    def presence(self, name: str) -> Steps:
        """Duty, waits and restrictions of a person."""
        key = ("presence", name)
        if key not in self._steps:
            restricted = span_steps(self.facility.people[name].restricted, LIMITED, self.at)
            parts = [self.duty(name), self.wait(name), restricted]
            self._steps[key] = worst_of_steps(parts, self.at)
        return self._steps[key]

    def duty(self, name: str) -> Steps:
        """When a person is on duty."""
        key = ("duty", name)
        if key not in self._steps:
            duty = self.facility.people[name].duty
            self._steps[key] = duty_steps(duty, self.facility.roster_until, self.at)
        return self._steps[key]

    def wait(self, name: str) -> Steps:
        """When a person waits after pressure."""
        key = ("wait", name)
        if key not in self._steps:
            waits = self.facility.people[name].waits
            self._steps[key] = span_steps(waits, BAD, self.at)
        return self._steps[key]

    def qualification(self, name: str, qualification: str) -> Steps:
        """When a person holds a qualification."""
        key = ("qualification", name, qualification)
        if key not in self._steps:
            held = self.facility.people[name].qualifications.get(qualification, ())
            self._steps[key] = qualification_steps(held, self.at)
        return self._steps[key]

    def medical(self, name: str) -> Steps:
        """When a person's medical is in date."""
        key = ("medical", name)
        if key not in self._steps:
            held = self.facility.people[name].medical
            self._steps[key] = medical_steps(held, self.at)
        return self._steps[key]
