"""The daily look over a thousand sites: its time, whether that is linear, its memory, and its forecast part.

Limits: design goals of this project; common practice, no source. Each site has one chamber, four plans and 300 items
under two rules each. The sites are alike, which spares the bench their making; what is remembered from one to the
next is what a plain interval after an act of the same day comes to, as in any plant. The time is this process's own,
so one core of the two that the goal allows.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING
from unittest.mock import patch

from facility import events
from facility.compute.flags import ahead_of
from facility.compute.instants import MINUTES_PER_DAY, instant_of
from facility.gathered import current
from facility.models import Site
from facility.project.bench.readiness import clock
from facility.project.bench.result import Result
from facility.project.bench.scratch import AT, Size, scratch_database
from facility.project.bench.scratch_copies import alike
from facility.readiness.gather import in_parts
from facility.reference import house_rule_definitions
from facility.sweep import looking

if TYPE_CHECKING:
    from collections.abc import Callable

    from facility.compute.flags import Flag
    from facility.models import Chamber

    Flags = dict[int, list[Flag]]

MANY, FEW = 1000, 10
SITE = Size(items=300, people=8, plans=4, needs=20, months=1)
TIME_LIMIT_S, LINEAR_LIMIT, MEMORY_LIMIT, FORECAST_LIMIT = 30.0, 1.2, 1.2, 1.2


@dataclass(frozen=True, slots=True)
class Figures:
    """What was measured once for all four: seconds, and the most memory held in MB."""

    first_s: float
    again_s: float
    few_s: float
    forecast_part_s: float
    forecast_alone_s: float
    few_mb: float
    many_mb: float


def time_of_all() -> Result:
    """The look over 1 000 sites; the slower of the one that flags and the one that finds all flags standing."""
    found = measured()
    note = f"flagging {found.first_s:.1f} s, again {found.again_s:.1f} s, on one core"
    return Result("sweep of 1000 sites of 300 items", max(found.first_s, found.again_s), TIME_LIMIT_S, "s", note)


def linear() -> Result:
    """A site of a thousand against a site of ten."""
    found = measured()
    return Result(
        "sweep, time per site, 1000 against 10", found.again_s / MANY / (found.few_s / FEW), LINEAR_LIMIT, "times"
    )


def memory() -> Result:
    """The most memory held over 1 000 sites against 10."""
    found = measured()
    note = f"{found.few_mb:.0f} MB, {found.many_mb:.0f} MB"
    return Result(
        "memory of the sweep, 1000 sites against 10", found.many_mb / found.few_mb, MEMORY_LIMIT, "times", note
    )


def forecast_part() -> Result:
    """What the sweep spends on plans that will not be ready, against forecasting the same chambers alone."""
    found = measured()
    note = f"{found.forecast_part_s:.1f} s of {found.forecast_alone_s:.1f} s"
    ratio = found.forecast_part_s / found.forecast_alone_s
    return Result("forecast part of the sweep against the forecast alone", ratio, FORECAST_LIMIT, "times", note)


@lru_cache
def measured(number: int = MANY) -> Figures:
    """Store the sites, look at them, and measure."""
    with scratch_database(), patch.object(events, "now", lambda: AT):
        chambers = alike(number, SITE)
        few_mb = most_mb(_few)  # before anything larger was held: what is given back may stay with the process
        taken: list[float] = []
        many_mb = most_mb(lambda: taken.append(seconds_of(lambda: looking.sweep(AT))))
        few_s = min(seconds_of(_few) for _ in range(5))
        spent: list[float] = []
        with patch.object(looking, "plan_flags", _timed(looking.plan_flags, spent)):
            again = seconds_of(lambda: looking.sweep(AT))
        alone = min(seconds_of(lambda: _forecast(chambers)) for _ in range(2))
    return Figures(taken[0], again, few_s, sum(spent), alone, few_mb, many_mb)


def _few() -> None:
    for _one in looking.look_at(list(current(Site).order_by("pk")[:FEW]), AT):
        pass


def _forecast(chambers: list[Chamber]) -> None:
    lead = int(house_rule_definitions()["lead_time_days"].number) * MINUTES_PER_DAY
    for records in in_parts(chambers, AT):
        for facts in records.facts.values():
            for _ahead in ahead_of(facts, instant_of(AT), lead):
                pass


def seconds_of(act: Callable[[], object]) -> float:
    begun = clock()
    act()
    return clock() - begun


def _timed(act: Callable[..., Flags], spent: list[float]) -> Callable[..., Flags]:
    def timed(*given: object) -> Flags:
        begun = clock()
        try:
            return act(*given)
        finally:
            spent.append(clock() - begun)

    return timed


def most_mb(act: Callable[[], object]) -> float:
    """Return the most memory that this process held while doing something; the kernel's own mark, set back before."""
    Path("/proc/self/clear_refs").write_text("5", encoding="ascii")
    act()
    lines = Path("/proc/self/status").read_text(encoding="ascii").splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmHWM:")) / 1024
