"""What each person was exposed to: dose, oxygen, what a tender owes, waits, and departures from the table."""

from __future__ import annotations

from typing import TYPE_CHECKING

from treatments.compute.clock import Due
from treatments.compute.company import (
    compared_segments,
    oxygen_minutes_of,
    oxygen_shallow,
    person_segments,
)
from treatments.compute.dose import cns_fraction, esot, exposures, pulmonary_dose
from treatments.compute.phases import NOT_RECORDED
from treatments.compute.so_far import depth_and_gas
from treatments.compute.tables import OXYGEN, Segment
from treatments.compute.tender import counts_as_previous, owed, rule_for
from treatments.compute.waits import waits
from treatments.figures.shape import Conformity, Dose, PersonFigures, TenderOwed
from treatments.figures.timing import TENDER_OXYGEN, planned_at
from treatments.reference import fractions
from treatments.reference.laws import (
    NAVY,
    cns,
    conventions,
    esot_law,
    look_backs,
    pulmonary,
    tender_rules,
    tolerances,
    wait_rules,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from treatments.compute.clock import PlannedEvent
    from treatments.compute.conformity import Deviation
    from treatments.compute.waits import Wait
    from treatments.figures.shape import PlannedAt
    from treatments.figures.timing import Follower, Timing

#: what is left of a segment counts as nothing below this
ENDS_SOON_MIN = 1e-6


def dose_of(segments: Sequence[Segment]) -> Dose:
    """Return the oxygen dose of what somebody was exposed to, by the handbook's convention."""
    convention = conventions()[NAVY]
    history = exposures(segments, fractions(), convention)
    on_oxygen = exposures([one for one in segments if one.gas == OXYGEN], fractions(), convention)
    return Dose(
        pulmonary_dose(history, pulmonary()),
        pulmonary_dose(on_oxygen, pulmonary()),
        cns_fraction(history, cns()),
        esot(history, esot_law()),
        convention,
    )


def people(found: Timing) -> tuple[PersonFigures, ...]:
    """Return the figures of everybody who was under pressure, in the order of the crew."""
    if found.track is None:
        return ()
    gas = _gas_deviations(found)
    inside = [
        (place, one) for (place, _who), one in zip(found.rows.places, found.followers, strict=True) if one.when.spans
    ]
    return tuple(_person(found, place.pk, place.person_id, one, gas.get(one.who.place, ())) for place, one in inside)


def _person(
    found: Timing, pk: int, person_pk: int | None, one: Follower, deviations: tuple[Deviation, ...]
) -> PersonFigures:
    rows = found.rows
    assert found.track is not None  # noqa: S101 - people() asks only with a depth
    segments = person_segments(found.track, one.breathed)
    last = one.breathed[-1]
    inside_now = one.when.open and not rows.over
    ends = rows.instant(one.when.spans[-1][1])
    return PersonFigures(
        place_pk=pk, label=one.who.label, role=one.who.role, person_pk=person_pk, is_patient=one.who.is_patient,
        is_tender=one.who.is_tender, stays=one.when.spans, starts_at=rows.instant(one.when.spans[0][0]), ends_at=ends,
        inside_now=inside_now, on_oxygen=inside_now and last.gas == OXYGEN,
        breathing_since_at=rows.instant(last.start_min) if inside_now else None, breathed=one.breathed,
        segments=segments, minutes=one.when.minutes, oxygen_min=oxygen_minutes_of(one.breathed),
        deepest_fsw=max((max(part.start_fsw, part.end_fsw) for part in segments), default=0.0),
        dose=dose_of(segments), planned_dose=_planned_dose(found, one, segments),
        owed=tuple(_owed(found, one, segments)) if one.who.is_tender else (),
        waits=_waits(found, one, inside=inside_now), whole_run=one.when.whole(rows.until), deviations=deviations,
    )  # fmt: skip


def _planned_dose(found: Timing, one: Follower, segments: Sequence[Segment]) -> Dose | None:
    """Return the dose if the plan is followed from here on; only of a patient inside, whose gas it states."""
    last = found.last
    if last is None or found.rows.over or not (one.who.is_patient and one.when.open):
        return None
    return dose_of([*segments, *_after(last.segments, found.rows.until)])


def _after(segments: Iterable[Segment], minute: float) -> Iterator[Segment]:
    """Yield what of segments lies after a minute."""
    start = 0.0
    for one in segments:
        end = start + one.minutes
        left = end - max(start, minute)
        if left > ENDS_SOON_MIN:
            depth = one.end_fsw + (one.start_fsw - one.end_fsw) * left / one.minutes
            yield Segment(depth, one.end_fsw, left, one.gas)
        start = end


def _owed(found: Timing, one: Follower, segments: Sequence[Segment]) -> Iterator[TenderOwed]:
    key = found.rows.run.table_key
    rule = rule_for(key, tender_rules())
    beyond = found.used is not None and bool(found.used.beyond)
    table = found.rows.table
    allowed = 0 if table is None or beyond else sum(part.allowed for part in table.extensions)
    for revision, look_back in look_backs().items():
        previous = counts_as_previous(one.who.previous_gap_h, look_back)
        asked = owed(rule, sum(found.extensions.values()), most_extensions=allowed, previous=previous)
        depth = asked.depth_fsw or 0.0
        breathed = oxygen_shallow(segments, depth, tolerances().depth_fsw) if rule is not None else 0.0
        left = None if asked.total_min is None else max(0.0, asked.total_min - breathed)
        yield TenderOwed(
            revision, look_back, previous, asked.at_depth_min, asked.depth_fsw, asked.total_min, breathed, left
        )


def tender_events(found: Timing, everybody: Iterable[PersonFigures]) -> Iterator[PlannedAt]:
    """Yield when each tender inside is to be on oxygen at the latest, by the longer of the revisions."""
    last = found.last
    if last is None or found.rows.over:
        return
    for one in everybody:
        stated = [part for part in one.owed if part.depth_fsw and part.at_depth_min is not None and part.left_min]
        if not stated or not one.inside_now or one.on_oxygen:
            continue
        most = max(stated, key=lambda part: part.at_depth_min or 0.0)
        leaves = _leaves(last.events(), most.depth_fsw or 0.0)
        if leaves is not None:
            start = leaves - max(0.0, (most.at_depth_min or 0.0) - most.breathed_min)
            yield planned_at(found.rows, start, TENDER_OXYGEN, most.depth_fsw or 0.0, (one.label,))


def _leaves(events: Iterable[tuple[PlannedEvent, bool]], depth_fsw: float) -> float | None:
    """Return when a depth is to be left, if that is still to come."""
    for event, past in events:
        if event.due is Due.LEAVE_DEPTH and not past and abs(event.depth_fsw - depth_fsw) <= tolerances().depth_fsw:
            return event.minute
    return None


def _waits(found: Timing, one: Follower, *, inside: bool) -> tuple[Wait, ...]:
    rows = found.rows
    person = "patient" if one.who.is_patient else "tender"
    ends = rows.instant(one.when.spans[-1][1])
    if inside:
        if found.last is None:
            return ()
        ends = rows.instant(found.last.ends[-1])
    rules = [rule for rule in wait_rules() if rule.person == person]
    return waits(rows.run.table_key, ends, rows.zone, rules)


def _gas_deviations(found: Timing) -> dict[int, tuple[Deviation, ...]]:
    if found.plan is None or found.level is None:
        return {}
    patients = _compared(found)
    logs = [compared_segments(found.level, one.breathed) for one in patients]
    depth = found.level.segments()
    _depth, gas = depth_and_gas(found.plan, depth, logs, tolerances(), over=found.rows.over)
    return {one.who.place: part for one, part in zip(patients, gas, strict=True)}


def _compared(found: Timing) -> list[Follower]:
    """Return whose gas the table states: patients inside for the whole run so far."""
    until = found.rows.until
    return [one for one in found.followers if one.who.is_patient and one.when.whole(until)]


def conformity(found: Timing, everybody: Iterable[PersonFigures]) -> Conformity | None:
    """Return every departure of the log from its table: of the depth, and of the gas with whose it was."""
    if found.plan is None or found.level is None:
        return None
    silent = [Segment(one.start_fsw, one.end_fsw, one.minutes, NOT_RECORDED) for one in found.level.segments()]
    depth, _gas = depth_and_gas(found.plan, silent, (), tolerances(), over=found.rows.over)
    listed: list[tuple[tuple[str, ...], Deviation]] = [((), one) for one in depth]
    shared: dict[Deviation, list[str]] = {}
    for person in everybody:
        for one in person.deviations:
            shared.setdefault(one, []).append(person.label)
    listed += [(tuple(labels), one) for one, labels in shared.items()]
    listed.sort(key=lambda pair: pair[1].minute)
    return Conformity(tuple(listed), tolerances(), so_far=not found.rows.over)
