"""What a plan is reckoned from: the party, the locks, the figures of the house, the rules.

Depths gauge fsw, volumes cubic feet, minutes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

    from treatments.compute.demand import Atmosphere
    from treatments.compute.tender import OxygenRule
    from treatments.compute.ventilation import Rates


class PlanDemandError(ValueError):
    """An input for which no demand can be stated: its name, the value, what is allowed."""

    def __init__(self, name: str, value: object, allowed: str) -> None:
        super().__init__(f"{name}: {value} is not taken. Allowed: {allowed}.")
        self.name, self.value, self.allowed = name, value, allowed


@dataclass(frozen=True, slots=True)
class Locks:
    """Volumes of the locks in cubic feet; 0 for one that is not there."""

    inner: float
    outer: float = 0.0
    medical: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Asking:
    """What is planned for.

    ``extensions``: how many are allowed for, by depth. ``previous``: a previous exposure of the tenders counts.
    ``outer_fills``, ``medical_fills``: how often those locks are pressurised, each time to the deepest stop.
    ``minute_volume``: acfm of one person on oxygen. ``tender_minutes``: oxygen of each tender before surfacing where
    the rule states none, or more than it states. ``emergency_minutes``, ``emergency_volume``: air by mask for
    everyone inside at the deepest stop, acfm each. ``reserve_percent``: of the demand, kept back beside it.
    """

    patients: int
    tenders: int
    extensions: Mapping[float, int]
    previous: bool = False
    dump: bool = False
    outer_fills: int = 2
    medical_fills: int = 0
    minute_volume: float
    tender_minutes: float | None = None
    emergency_minutes: float
    emergency_volume: float
    reserve_percent: float


@dataclass(frozen=True, slots=True)
class Rules:
    """The laws it is reckoned by; ``tender``: None where the handbook does not speak of the table."""

    rates: Rates
    atmosphere: Atmosphere
    tender: OxygenRule | None
