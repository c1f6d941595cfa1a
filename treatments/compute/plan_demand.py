"""What a run of a table would demand: its longest duration, oxygen, air to fill locks, ventilation, emergency air.

Depths gauge fsw, volumes cubic feet, gas in cubic feet at 1 atm by the handbook's rule; litres() and the density turn
it into litres at 15 degC and 1 atm, and kg. Nothing here chooses a table or advises one.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, fsum
from typing import TYPE_CHECKING

from treatments.compute.demand import consumption, oxygen_ata_minutes
from treatments.compute.plan_asking import PlanDemandError
from treatments.compute.profile import Choices, profile
from treatments.compute.run_air import Inside, stretches
from treatments.compute.tables import OXYGEN, Segment
from treatments.compute.tender import breathed, owed
from treatments.compute.ventilation import air_used

if TYPE_CHECKING:
    from treatments.compute.plan_asking import Asking, Locks, Rules
    from treatments.compute.profile import Profile
    from treatments.compute.tables import Table
    from treatments.compute.ventilation import Stretch


@dataclass(frozen=True, slots=True)
class Added:
    """Extensions at one depth: whole minutes each, how many are allowed for."""

    depth_fsw: float
    minutes: int
    allowed: int


@dataclass(frozen=True, slots=True)
class Oxygen:
    """Oxygen by mask. ``tender_...`` None where it is not stated; then ``total_scf`` is None too. Units: min, scf.

    ``tender_segments``: where each tender breathes it.
    """

    patient_min: float
    patient_ata_min: float
    patient_scf: float
    tender_min: float | None
    tender_ata_min: float | None
    tender_scf: float | None
    total_scf: float | None
    tender_segments: tuple[Segment, ...] = ()


@dataclass(frozen=True, slots=True)
class Air:
    """Air in scf: each lock filled, ventilation, emergency air.

    ``masked_scf``: ventilation counting only the people on oxygen, as the handbook says for no dump;
    ``air_rates_scf``: by the air rates for everyone. ``ventilation_scf``: at each minute the larger that applies.
    """

    inner_scf: float
    outer_each_scf: float
    outer_scf: float
    medical_each_scf: float
    medical_scf: float
    ventilation_scf: float
    masked_scf: float
    air_rates_scf: float
    emergency_scf: float
    stretches: tuple[Stretch, ...] = ()

    @property
    def filling_scf(self) -> float:
        """All that fills locks."""
        return fsum((self.inner_scf, self.outer_scf, self.medical_scf))

    @property
    def demand_scf(self) -> float:
        """What a run draws; the emergency air is kept back, not drawn."""
        return self.filling_scf + self.ventilation_scf


@dataclass(frozen=True, slots=True)
class PlanDemand:
    """The whole answer. ``run``: every extension allowed for taken; minutes from leaving the surface, whole upwards."""

    run: Profile
    table_min: int
    added: tuple[Added, ...]
    deepest_fsw: float
    oxygen: Oxygen
    air: Air
    oxygen_reserve_scf: float | None
    air_reserve_scf: float

    @property
    def run_min(self) -> int:
        """The longest duration without a margin, as a plan counts it."""
        return self.table_min + sum(one.minutes * one.allowed for one in self.added)


def plan_demand(table: Table, locks: Locks, asking: Asking, rules: Rules) -> PlanDemand:
    """Return what a run of a table would demand.

    Errors: PlanDemandError for an input that nobody can plan with; ProfileError for extensions the table does not
    state. Source: the table; treatments/reference/supply.toml, ventilation.toml, tender.toml.
    Valid: at sea level, oxygen masks without leakage, gas at the temperature of the reference state.
    """
    _check(locks, asking)
    first = table.first_stop
    longest = None if first is None else (first[1] or first[0])
    plain = profile(table, Choices({}, first_stop_min=longest))
    run = profile(table, Choices(asking.extensions, first_stop_min=longest))
    deepest = max(max(one.start_fsw, one.end_fsw) for one in run.segments)
    oxygen = _oxygen(table, run, asking, rules)
    air = _air(run, locks, asking, rules, deepest=deepest, tender_min=oxygen.tender_min or 0.0)
    share = asking.reserve_percent / 100
    return PlanDemand(
        run=run,
        table_min=_whole(plain.run_minutes),
        added=_added(table, asking),
        deepest_fsw=deepest,
        oxygen=oxygen,
        air=air,
        oxygen_reserve_scf=None if oxygen.total_scf is None else share * oxygen.total_scf,
        air_reserve_scf=air.emergency_scf + share * air.demand_scf,
    )


def most_extensions(table: Table) -> dict[float, int]:
    """Return every extension that a table allows without a medical officer, by depth."""
    return {one.depth_fsw: one.allowed for one in table.extensions}


def litres(scf: float, litres_per_cubic_foot: float) -> int:
    """Return whole litres, upwards: a demand never looks smaller than it is.

    Units: scf at 1 atm, taken as at 15 degC; the handbook's rule names no temperature.
    """
    return ceil(round(scf * litres_per_cubic_foot, 6))


def kilograms(scf: float, litres_per_cubic_foot: float, density: float) -> float:
    """Return the mass in kg. Units: ``density`` kg/m3 at 15 degC and 1 atm."""
    return scf * litres_per_cubic_foot / 1000 * density


def last_minutes(run: Profile, minutes: float) -> tuple[Segment, ...]:
    """Return the end of a run as segments on oxygen, the one in which it begins cut.

    Errors: PlanDemandError for more than the run has after its descent.
    """
    after_descent = run.run_minutes - run.descent.minutes
    if not 0 <= minutes <= after_descent:
        raise PlanDemandError(
            "tender_minutes", f"{minutes:g} min", f"0 to {after_descent:g} min, the run after descent"
        )
    found, left = [], minutes
    for one in reversed(run.segments[1:]):
        if left <= 0:
            break
        share = min(one.minutes, left)
        start = one.end_fsw + (one.start_fsw - one.end_fsw) * share / one.minutes
        found.append(Segment(start, one.end_fsw, share, OXYGEN))
        left -= share
    return tuple(reversed(found))


def _check(locks: Locks, asking: Asking) -> None:
    if asking.patients + asking.tenders < 1:
        raise PlanDemandError("patients", asking.patients, "at least one person inside")
    if not locks.inner > 0:
        raise PlanDemandError("chamber", f"{locks.inner:g} cf", "an inner lock with a volume of more than 0")
    if asking.outer_fills and not locks.outer:
        raise PlanDemandError("outer_fills", asking.outer_fills, "0; the chamber has no outer lock on record")
    if asking.medical_fills and not locks.medical:
        raise PlanDemandError("medical_fills", asking.medical_fills, "0; the chamber has no medical lock on record")
    counts = ("patients", "tenders", "outer_fills", "medical_fills", "minute_volume", "emergency_minutes",
              "emergency_volume", "reserve_percent")  # fmt: skip
    for name in counts:
        if getattr(asking, name) < 0:
            raise PlanDemandError(name, getattr(asking, name), "0 or more")


def _added(table: Table, asking: Asking) -> tuple[Added, ...]:
    return tuple(
        Added(one.depth_fsw, _whole(fsum(part.minutes for part in one.segments)), count)
        for one in table.extensions
        if (count := asking.extensions.get(one.depth_fsw, 0))
    )


def _oxygen(table: Table, run: Profile, asking: Asking, rules: Rules) -> Oxygen:
    on_oxygen = fsum(one.minutes for one in run.segments if one.gas == OXYGEN)
    patient = oxygen_ata_minutes(run.segments, rules.atmosphere)
    each = asking.minute_volume * patient
    breathes = _tender(table, run, asking, rules)
    if breathes is None:
        total = asking.patients * each if asking.tenders == 0 else None
        return Oxygen(on_oxygen, patient, each, None, None, None, total)
    ata_min = oxygen_ata_minutes(breathes, rules.atmosphere)
    tender = asking.minute_volume * ata_min
    minutes = fsum(one.minutes for one in breathes)
    total = asking.patients * each + asking.tenders * tender
    return Oxygen(on_oxygen, patient, each, minutes, ata_min, tender, total, breathes)


def _tender(table: Table, run: Profile, asking: Asking, rules: Rules) -> tuple[Segment, ...] | None:
    """Return where a tender breathes oxygen: by the rule, or what the site asks for beyond it; None: not stated."""
    taken = sum(asking.extensions.values())
    most = sum(most_extensions(table).values())
    stated = owed(rules.tender, taken, most_extensions=most, previous=asking.previous)
    least = stated.total_min if stated.total_min is not None else stated.at_depth_min
    typed = asking.tender_minutes
    if typed is not None:
        if least is not None and typed < least:
            raise PlanDemandError("tender_minutes", f"{typed:g} min", f"{least:g} min or more, as the handbook states")
        return last_minutes(run, typed)
    if rules.tender is None or stated.total_min is None:
        return None
    last_minutes(run, stated.total_min)  # refuses what is longer than the run
    return breathed(stated, rules.tender)


def _air(run: Profile, locks: Locks, asking: Asking, rules: Rules, *, deepest: float, tender_min: float) -> Air:
    fsw = rules.atmosphere.fsw
    inside = Inside(asking.patients, asking.tenders, tender_min)
    by_mask = stretches(run, inside, rules.rates, dump=False)
    by_air = stretches(run, inside, rules.rates, dump=True)
    larger = by_air if asking.dump else [
        one if one.acfm >= other.acfm else other for one, other in zip(by_mask, by_air, strict=True)
    ]  # fmt: skip
    outer, medical = locks.outer * deepest / fsw, locks.medical * deepest / fsw
    people = asking.patients + asking.tenders
    each = consumption(deepest, asking.emergency_volume, asking.emergency_minutes, rules.atmosphere)
    return Air(
        inner_scf=locks.inner * deepest / fsw,
        outer_each_scf=outer,
        outer_scf=asking.outer_fills * outer,
        medical_each_scf=medical,
        medical_scf=asking.medical_fills * medical,
        ventilation_scf=air_used(larger, fsw),
        masked_scf=air_used(by_mask, fsw),
        air_rates_scf=air_used(by_air, fsw),
        emergency_scf=people * each,
        stretches=tuple(larger),
    )


def _whole(minutes: float) -> int:
    return ceil(round(minutes, 6))
