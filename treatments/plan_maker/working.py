"""Work a plan out: a table in force at the site, the locks of a chamber, what is asked for."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from facility.compute.units import cubic_metres, kpa_from
from facility.models import LockKind
from facility.reference import units
from maintenance.models import Gas
from maintenance.reference import gas_law
from treatments.compute.plan_asking import Locks, Rules
from treatments.compute.plan_demand import kilograms, litres, plan_demand
from treatments.compute.tender import rule_for
from treatments.reference import figures
from treatments.reference.laws import atmosphere, rates, tender_rules

if TYPE_CHECKING:
    from collections.abc import Sequence

    from facility.models import Chamber, Lock
    from treatments.compute.plan_asking import Asking
    from treatments.compute.plan_demand import PlanDemand
    from treatments.table_book.tables import TableInForce

LITRES_IN_CUBIC_METRE = 1000


@dataclass(frozen=True, slots=True)
class Amount:
    """A gas that a run draws and what is kept back, in scf; None where it is not stated."""

    gas: str
    demand_scf: float | None
    reserve_scf: float | None

    @property
    def demand(self) -> int | None:
        """Whole litres at 15 degC and 1 atm, upwards."""
        return None if self.demand_scf is None else litres(self.demand_scf, litres_per_cubic_foot())

    @property
    def reserve(self) -> int | None:
        """Whole litres at 15 degC and 1 atm, upwards."""
        return None if self.reserve_scf is None else litres(self.reserve_scf, litres_per_cubic_foot())

    @property
    def needed(self) -> int | None:
        """What a bank must hold, in litres."""
        return None if self.demand is None or self.reserve is None else self.demand + self.reserve

    @property
    def needed_kg(self) -> float | None:
        """The same in kg."""
        if self.demand_scf is None or self.reserve_scf is None:
            return None
        return kg_of(self.gas, self.demand_scf + self.reserve_scf)


@dataclass(frozen=True, slots=True)
class Worked:
    """A plan worked out."""

    found: TableInForce
    chamber: Chamber
    compartments: tuple[Lock, ...]
    locks: Locks
    asking: Asking
    demand: PlanDemand

    @property
    def amounts(self) -> tuple[Amount, ...]:
        """Oxygen, then air."""
        oxygen, air = self.demand.oxygen, self.demand.air
        return (
            Amount(Gas.OXYGEN, oxygen.total_scf, self.demand.oxygen_reserve_scf),
            Amount(Gas.AIR, air.demand_scf, self.demand.air_reserve_scf),
        )

    @property
    def people(self) -> int:
        """How many are inside."""
        return self.asking.patients + self.asking.tenders

    @property
    def places(self) -> int:
        """How many the inner lock takes."""
        return sum(one.occupants for one in self.compartments if one.kind == LockKind.INNER)

    @property
    def too_deep(self) -> tuple[Lock, ...]:
        """Locks whose working pressure lies below the deepest stop."""
        kpa = kpa_from(Decimal(str(self.demand.deepest_fsw)), "fsw", units())
        return tuple(
            one for one in self.compartments
            if kpa_from(one.working_pressure, one.working_pressure_unit, units()) < kpa
        )  # fmt: skip


def compartments_of(chamber: Chamber) -> tuple[Lock, ...]:
    """Return the locks of a chamber that count."""
    return tuple(chamber.locks.filter(retired_at=None).order_by("pk"))


def work_out(
    found: TableInForce, chamber: Chamber, asking: Asking, compartments: tuple[Lock, ...] | None = None
) -> Worked:
    """Return a plan worked out from a table in force; ``compartments``: those of the chamber, if already fetched.

    Errors: PlanDemandError, ProfileError for what nobody can plan with or the table does not state.
    """
    if compartments is None:
        compartments = compartments_of(chamber)
    locks = locks_of(compartments)
    rules = Rules(rates(), atmosphere(), rule_for(found.table.key, tender_rules()))
    return Worked(found, chamber, compartments, locks, asking, plan_demand(found.table, locks, asking, rules))


def locks_of(compartments: Sequence[Lock]) -> Locks:
    """Return the volumes of the locks in cubic feet, those of one kind together."""
    volumes = dict.fromkeys(LockKind.values, 0.0)
    for one in compartments:
        volumes[one.kind] += cubic_feet(one)
    return Locks(volumes[LockKind.INNER], volumes[LockKind.OUTER], volumes[LockKind.MEDICAL])


def cubic_feet(lock: Lock) -> float:
    """Return the volume of a lock in cubic feet."""
    metres = cubic_metres(lock.volume, lock.volume_unit, units())
    return float(metres) * LITRES_IN_CUBIC_METRE / litres_per_cubic_foot()


def litres_per_cubic_foot() -> float:
    """Return the litres in a cubic foot."""
    return float(figures("supply")["litres_per_cubic_foot"].number)


def kg_of(gas: str, scf: float) -> float:
    """Return the mass of a gas in kg, taken as at 15 degC and 1 atm."""
    return kilograms(scf, litres_per_cubic_foot(), gas_law(gas).reference_density)
