"""What a run computes, as frozen values: the same during the run and afterwards.

Instants are aware (UTC); minutes run from leaving the surface; depths are gauge fsw. What is not known is None
and is never put in as zero. Nothing here advises: figures are compared and shown.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime
    from zoneinfo import ZoneInfo

    from treatments.compute.conformity import Deviation, Tolerances
    from treatments.compute.dose import Convention
    from treatments.compute.logbook import Track
    from treatments.compute.phases import Breathing
    from treatments.compute.profile import Profile
    from treatments.compute.tables import Segment, Table
    from treatments.compute.ventilation import People
    from treatments.compute.waits import Wait
    from treatments.figures.unmeasured import Unmeasured


@dataclass(frozen=True, slots=True)
class TableUsed:
    """The table of the run as on that day. ``standing``: "confirmed", "unconfirmed" or "site"."""

    key: str
    version: int
    standing: str
    table: Table


@dataclass(frozen=True, slots=True)
class PlannedAt:
    """Something due by the plan as moved by what was logged.

    ``due``: a treatments.compute.clock.Due or "tender oxygen on"; ``what`` says it in the reader's language;
    ``who``: labels it is for, empty for the chamber. ``seconds_to_go`` is negative once it is past.
    """

    at: datetime
    minute: float
    due: str
    what: str
    depth_fsw: float
    who: tuple[str, ...]
    seconds_to_go: float


@dataclass(frozen=True, slots=True)
class DepthNow:
    """Depth as last logged, when, and where the plan (as moved) has the run at this instant."""

    logged_fsw: float | None
    logged_at: datetime | None
    planned_fsw: float | None


@dataclass(frozen=True, slots=True)
class StopDone:
    """A stop as logged, its minutes by the clock of the table, and what the table has there (None: no such stop)."""

    depth_fsw: float
    arrived_at: datetime
    left_at: datetime | None
    minutes: float
    planned_min: float | None


@dataclass(frozen=True, slots=True)
class RateDone:
    """A change of depth as logged; rate in fsw/min, upwards positive."""

    from_fsw: float
    to_fsw: float
    started_at: datetime
    ended_at: datetime
    rate_fsw_min: float


@dataclass(frozen=True, slots=True)
class Dose:
    """Oxygen dose of one person. ``cns_fraction`` None: outside the table of limits."""

    uptd: float
    uptd_on_oxygen: float
    cns_fraction: float | None
    esot: float
    convention: Convention


@dataclass(frozen=True, slots=True)
class TenderOwed:
    """Oxygen that a tender owes by one revision; None where it is not stated.

    ``breathed_min`` counts oxygen at the depth of the rule and shallower; ``left_min`` is what is missing of the total.
    """

    revision: str
    look_back_h: float
    previous_counts: bool
    at_depth_min: float | None
    depth_fsw: float | None
    total_min: float | None
    breathed_min: float
    left_min: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonFigures:
    """One person who was under pressure. ``stays``: minutes from and until; the last is open while inside.

    ``segments``: depth and gas that the person was exposed to. ``planned_dose``: if the plan is followed from here
    on. ``waits`` run from the moment when this person reached the surface, or is to. ``is_tender``: under pressure
    without being a patient. ``owed`` is stated for whoever is inside for the whole run: see ``whole_run``.
    """

    place_pk: int
    label: str
    role: str
    person_pk: int | None
    is_patient: bool
    is_tender: bool
    stays: tuple[tuple[float, float], ...]
    starts_at: datetime
    ends_at: datetime
    inside_now: bool
    on_oxygen: bool
    breathing_since_at: datetime | None
    breathed: tuple[Breathing, ...]
    segments: tuple[Segment, ...]
    minutes: float
    oxygen_min: float
    deepest_fsw: float
    dose: Dose
    planned_dose: Dose | None
    owed: tuple[TenderOwed, ...]
    waits: tuple[Wait, ...]
    whole_run: bool
    deviations: tuple[Deviation, ...]


@dataclass(frozen=True, slots=True)
class Conformity:
    """All departures of the log from its table, those of gas with the labels of whom they concern.

    ``found``: (labels, deviation) in order; the labels are empty where it is the chamber's depth.
    """

    found: tuple[tuple[tuple[str, ...], Deviation], ...]
    tolerances: Tolerances
    so_far: bool


@dataclass(frozen=True, slots=True)
class Co2Seen:
    """A logged reading of carbon dioxide: surface equivalent in percent, mmHg, and what it is held against."""

    at: datetime
    depth_fsw: float | None
    sev_percent: float
    mmhg: float
    within: bool
    limit_sev: float


@dataclass(frozen=True, slots=True)
class Air:
    """Ventilation asked for one way of counting: acfm at depth, scfm, and whether below the air rates."""

    at_rest: bool
    dump: bool
    acfm: float
    scfm: float
    air_rates_acfm: float


@dataclass(frozen=True, slots=True)
class Ventilation:
    """Ventilation asked for the people inside now, logged flow, stops of it, and the air of the run so far.

    ``stopped_min``: minutes stopped within the span of the rule. ``catch_up_acfm`` None: the rule does not speak.
    ``asked_scf``: per (at rest, dump) over the run so far, tenders as in ``Air``.
    """

    depth_fsw: float
    people: People
    asked: tuple[Air, ...]
    logged_acfm: float | None
    logged_at: datetime | None
    stopped_now: bool
    stopped_min: float
    within_rule: bool
    catch_up_acfm: float | None
    catch_up_min: float | None
    asked_scf: Mapping[tuple[bool, bool], float]


@dataclass(frozen=True, slots=True)
class Temperature:
    """The inside temperature held against the planned length with its extensions; two answers, never one verdict."""

    at: datetime
    celsius: float
    highest_celsius: float
    band: str
    longest_min: float | None
    run_min: float
    listed: bool | None
    within: bool | None


@dataclass(frozen=True, slots=True)
class BankUsed:
    """One bank before and after (or so far): pressures as read, and litres at 15 degC and 1 atm by the real-gas law."""

    bank_pk: int
    name: str
    gas: str
    before: str
    before_at: datetime | None
    after: str
    after_at: datetime | None
    used_litres: float | None
    unmeasured: Unmeasured | None = None


@dataclass(frozen=True, slots=True)
class GasUsed:
    """Gas drawn against what was to be expected. Litres at 15 degC and 1 atm; ``percent`` of the expected."""

    gas: str
    banks: tuple[BankUsed, ...]
    used_litres: float | None
    expected_litres: float
    expected_scf: float
    percent: float | None
    unmeasured: Unmeasured | None = None


@dataclass(frozen=True, slots=True)
class Recorded:
    """A recorded profile on the clock of the run, in straight pieces: minute, minute, fsw, fsw, and its departures."""

    profile_pk: int
    instrument: str
    pieces: tuple[tuple[str, float, float, float, float], ...]
    deviations: tuple[Deviation, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """Everything that a run computes, as of one instant.

    ``plan``: the table with its logged extensions, from leaving the surface at its own rate.
    ``moved``: the same as moved by real arrivals, stops and oxygen; ``moved_min`` how much later it ends.
    ``waits_from``: the instant from which ``waits`` run; ``waits_projected`` while that is only planned.
    ``remarks``: what a reader must know, such as an extension that the table does not state.
    """

    run_pk: int
    as_of: datetime
    zone: ZoneInfo
    started_at: datetime | None
    ended_at: datetime | None
    elapsed_min: float
    used: TableUsed | None
    extensions: Mapping[float, int]
    plan: Profile | None
    moved: tuple[Segment, ...]
    moved_min: float | None
    planned_end_at: datetime | None
    events: tuple[PlannedAt, ...]
    next_events: tuple[PlannedAt, ...]
    depth: DepthNow
    track: Track | None
    stops: tuple[StopDone, ...]
    rates: tuple[RateDone, ...]
    people: tuple[PersonFigures, ...]
    conformity: Conformity | None
    co2: tuple[Co2Seen, ...]
    ventilation: Ventilation | None
    temperature: Temperature | None
    gas: tuple[GasUsed, ...]
    waits: tuple[Wait, ...]
    waits_from: datetime | None
    waits_projected: bool
    recorded: tuple[Recorded, ...]
    readings: tuple[tuple[datetime, str, str, str], ...]
    remarks: tuple[str, ...]
