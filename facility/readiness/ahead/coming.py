"""The coming 90 days of each plan of one chamber, as a picture and in words."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from facility.compute.ahead import Step, lost, steps_ahead
from facility.compute.facts import CREW
from facility.compute.forecast import FORECAST_MINUTES
from facility.compute.instants import MINUTES_PER_DAY, Instant, datetime_of
from facility.compute.states import State
from facility.readiness.axis import percent
from facility.readiness.times import local

if TYPE_CHECKING:
    from collections.abc import Mapping

    from facility.compute.ahead import Lost
    from facility.readiness.services import Answer

WEEKS = 13
LAST_LABEL = 92.0
KINDS = {State.READY: "open", State.READY_WITH_LIMITS: "limits", State.NOT_KNOWN: "asked", State.NOT_READY: "closed"}


@dataclass(frozen=True, slots=True)
class Bar:
    """A stretch of one state; place and width in per cent of the picture, as printed."""

    x: str
    width: str
    kind: str


@dataclass(frozen=True, slots=True)
class Tick:
    """The begin of a week on the picture; the last one has no room for its day beside the one before."""

    x: str
    text: str


@dataclass(frozen=True, slots=True)
class Loss:
    """A stretch that is lost, in words' parts. ``act_by``: the day by which somebody must have acted, if not passed."""

    begin: datetime
    until: datetime | None
    state: str
    needs: tuple[str, ...]
    act_by: datetime
    lead_days: int
    passed: bool


@dataclass(frozen=True, slots=True)
class Coming:
    """One plan's 90 days."""

    key: str
    name: str
    party: str
    bars: tuple[Bar, ...]
    losses: tuple[Loss, ...]
    hours_lost: int


def coming_of(answer: Answer, lead_days: Mapping[str, int], house_lead_days: int) -> list[Coming]:
    """Return every plan of a chamber. ``lead_days``: of members by id; for all else the house's lead time."""
    found = []
    for plan, steps in steps_ahead(answer.facts, answer.at).items():
        row = answer.names.plans[plan]
        lead = _Leads(answer, lead_days, house_lead_days)
        losses = lost(steps)
        minutes = sum((one.until or answer.at + FORECAST_MINUTES) - one.begin for one in losses)
        found.append(
            Coming(
                plan,
                row.name,
                row.party,
                _bars(steps, answer.at),
                tuple(lead.told(one) for one in losses),
                minutes // 60,
            )
        )
    return found


def _bars(steps: list[Step], at: Instant) -> tuple[Bar, ...]:
    """Return one bar for each stretch of one state; where only its reasons change it goes on."""
    begins: list[Step] = []
    for step in steps:
        if not begins or begins[-1].state != step.state:
            begins.append(step)
    ends = [step.begin for step in begins[1:]] + [at + FORECAST_MINUTES]
    return tuple(
        Bar(percent(_share(step.begin - at)), percent(_share(end - step.begin)), KINDS[step.state])
        for step, end in zip(begins, ends, strict=True)
    )


def _share(minutes: int) -> float:
    return 100.0 * minutes / FORECAST_MINUTES


@dataclass(frozen=True, slots=True)
class _Leads:
    answer: Answer
    lead_days: Mapping[str, int]
    house_days: int

    def told(self, one: Lost) -> Loss:
        """Return a stretch that is lost with the day by which it takes an order or a booking to avoid it."""
        days = max((self._of(need) for need in one.needs), default=self.house_days)
        begin = datetime_of(one.begin)
        act_by = begin - timedelta(days=days)
        names = self.answer.names.need_names
        return Loss(
            begin, None if one.until is None else datetime_of(one.until), str(one.state),
            tuple(names.get(need, need) for need in one.needs), act_by, days, datetime_of(self.answer.at) > act_by,
        )  # fmt: skip

    def _of(self, need: str) -> int:
        if need == CREW or need not in self.answer.facts.needs:
            return self.house_days
        members = self.answer.facts.needs[need].members
        return max((self.lead_days.get(name, self.house_days) for name in members), default=self.house_days)


def ticks_of(at: Instant, zone: str) -> tuple[Tick, ...]:
    """Return the Mondays of the 90 days by the clock of the site."""
    here = local(at, zone)
    found = []
    for day in range(FORECAST_MINUTES // MINUTES_PER_DAY):
        there = (here + timedelta(days=day)).replace(hour=0, minute=0, second=0, microsecond=0)
        if there.weekday() == 0 and there > here:
            minutes = int((there - here).total_seconds() // 60)
            share = _share(minutes)
            found.append(Tick(percent(share), "" if share > LAST_LABEL else f"{there.day} {there:%b}"))
    return tuple(found[:WEEKS])


def caution_of_forecast() -> str:
    """Return what the 90 days take for granted."""
    return _("Checks, readings and gas content are taken as they are now: the daily routine is assumed done.")
