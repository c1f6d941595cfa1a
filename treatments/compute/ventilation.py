"""Fresh air that a chamber asks for, its interruption, and the timing of a valve. Depths gauge fsw."""

from __future__ import annotations

from dataclasses import dataclass
from math import fsum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable


class VentilationError(ValueError):
    """People or times for which no ventilation can be stated."""


@dataclass(frozen=True, slots=True)
class Rates:
    """acfm for each person: on chamber air and on a mask without dump, at rest and not at rest."""

    air_rest: float
    air_working: float
    mask_rest: float
    mask_working: float


@dataclass(frozen=True, slots=True)
class People:
    """How many breathe chamber air and how many oxygen by mask, at rest and not at rest."""

    air_rest: int = 0
    air_working: int = 0
    mask_rest: int = 0
    mask_working: int = 0

    def __post_init__(self) -> None:
        """Refuse a negative count."""
        for name in ("air_rest", "air_working", "mask_rest", "mask_working"):
            if getattr(self, name) < 0:
                raise VentilationError(f"{name}: {getattr(self, name)} is not taken. Allowed: 0 or more people.")


@dataclass(frozen=True, slots=True)
class Asked:
    """Ventilation asked for: acfm, and the figure of the air rates for everyone, shown beside it."""

    acfm: float
    air_rates_acfm: float

    @property
    def below_air_rates(self) -> bool:
        """Whether counting only the people on oxygen asks for less than the air rates would: a caution."""
        return self.acfm < self.air_rates_acfm


@dataclass(frozen=True, slots=True)
class Interruption:
    """The rule on stopping the ventilation: longest stop in a span of minutes, and the rate of the catch-up."""

    longest_min: float
    span_min: float
    times: float


@dataclass(frozen=True, slots=True)
class CatchUp:
    """What follows a stop: the rate and for how long; both None where the rule does not speak."""

    allowed: bool
    acfm: float | None
    minutes: float | None


@dataclass(frozen=True, slots=True)
class Stretch:
    """Minutes on one straight change of depth with the ventilation asked for in it."""

    start_fsw: float
    end_fsw: float
    minutes: float
    acfm: float


def asked(people: People, rates: Rates, *, dump: bool) -> Asked:
    """Return the ventilation asked for.

    Units: result acfm. ``dump``: exhaled oxygen goes overboard; then the air rates hold for everyone.
    Without a dump only the people on oxygen are counted, as the handbook says.
    Source: treatments/reference/ventilation.toml [air], [mask].

    >>> asked(People(mask_rest=1, air_working=1), Rates(2, 4, 12.5, 25), dump=False).acfm
    12.5
    """
    everyone = (people.air_rest + people.mask_rest) * rates.air_rest + (
        people.air_working + people.mask_working
    ) * rates.air_working
    masked = people.mask_rest * rates.mask_rest + people.mask_working * rates.mask_working
    return Asked(everyone if dump or masked == 0 else masked, everyone)


def scfm(acfm: float, depth_fsw: float, atmosphere_fsw: float) -> float:
    """Return the flow at the surface.

    Units: ``acfm`` at depth, ``depth_fsw`` gauge, ``atmosphere_fsw`` fsw of one atmosphere, result scfm.
    Source: handbook form acfm x (D + 33) / 33, treatments/reference/supply.toml [atmosphere.fsw].
    """
    return acfm * (depth_fsw + atmosphere_fsw) / atmosphere_fsw


def after_stop(acfm: float, stopped_min: float, rule: Interruption) -> CatchUp:
    """Return what follows after the ventilation stood still.

    Units: ``stopped_min`` minutes stopped in the span of the rule, all stops together.
    Source: treatments/reference/ventilation.toml [interruption]. Valid: a stop longer than the rule allows,
    or a catch-up that is itself broken off, is not stated by the handbook.

    >>> after_stop(12.5, 4, Interruption(5, 30, 2))
    CatchUp(allowed=True, acfm=25.0, minutes=4)
    """
    if stopped_min < 0:
        raise VentilationError(f"stopped: {stopped_min:g} min is not taken. Allowed: 0 or more.")
    if stopped_min > rule.longest_min:
        return CatchUp(allowed=False, acfm=None, minutes=None)
    return CatchUp(allowed=True, acfm=acfm * rule.times, minutes=stopped_min)


def air_used(stretches: Iterable[Stretch], atmosphere_fsw: float) -> float:
    """Return the ventilation air of a run in scf: the integral of scfm over time, exact for straight changes."""
    return fsum(one.minutes * scfm(one.acfm, (one.start_fsw + one.end_fsw) / 2, atmosphere_fsw) for one in stretches)


def valve_seconds(
    lock_cubic_feet: float, acfm: float, depth_fsw: float, fall_fsw: float, atmosphere_fsw: float
) -> float:
    """Return how long an unmanned lock takes to fall by ``fall_fsw`` around a depth, the exhaust set for ``acfm``.

    Units: cubic feet, acfm, fsw gauge; result seconds. Source: form fitted to the handbook's printed example,
    treatments/reference/ventilation.toml [valve]. Valid: no supply, constant temperature.

    >>> round(valve_seconds(425, 6, 165, 10, 33))
    215
    """
    if not (lock_cubic_feet > 0 and acfm > 0):
        raise VentilationError(f"volume {lock_cubic_feet:g} cf, rate {acfm:g} acfm: both must be more than 0.")
    minutes = lock_cubic_feet * fall_fsw / (acfm * (depth_fsw + atmosphere_fsw))
    return 60 * minutes
