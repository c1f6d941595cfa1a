"""Who was under pressure when, and on what: lock-in, lock-out, and each person's own oxygen."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from treatments.compute.company import Occupant, breathed_by, oxygen_minutes_of, oxygen_shallow, person_segments, stays
from treatments.compute.inside_air import flows, people_at, stopped_minutes
from treatments.compute.logbook import LoggedEntry, track
from treatments.compute.thinning import thinned

E = LoggedEntry
PATIENT = Occupant(1, "patient 1", "patient", inside=True, is_patient=True, is_tender=False)
TENDER = Occupant(2, "A. Berg", "tender", inside=True, is_patient=False, is_tender=True)
SECOND = Occupant(3, "B. Lie", "tender", inside=True, is_patient=False, is_tender=True)


def test_whoever_is_locked_in_first_was_outside_before() -> None:
    log = [E(30, "lock_in", 3), E(90, "lock_out", 3), E(120, "lock_in", 3)]
    found = stays(log, SECOND, 150)
    assert (found.spans, found.open, found.minutes) == (((30, 90), (120, 150)), True, 90)
    assert not found.whole(150)


def test_a_lock_entry_twice_changes_nothing() -> None:
    log = [E(10, "lock_in", 2), E(20, "lock_in", 2), E(30, "lock_out", 2), E(40, "lock_out", 2)]
    assert stays(log, TENDER, 60).spans == ((10, 30),)


def test_oxygen_on_twice_is_one_period_and_ends_at_lock_out() -> None:
    log = [E(5, "oxygen_on", 2), E(6, "oxygen_on", 2), E(20, "lock_out", 2), E(40, "lock_in", 2)]
    breathed = breathed_by(log, TENDER, stays(log, TENDER, 50))
    assert [(one.gas, one.start_min, one.end_min) for one in breathed] == [
        ("AIR", 0, 5),
        ("O2", 5, 20),
        ("AIR", 40, 50),
    ]


def test_a_lost_supply_takes_everybody_off_and_its_return_puts_nobody_on() -> None:
    log = [
        E(5, "oxygen_on", 1),
        E(5, "oxygen_on", 2),
        E(15, "oxygen_lost"),
        E(20, "oxygen_back"),
        E(22, "oxygen_on", 1),
    ]
    for who, minutes in ((PATIENT, 10 + 8), (TENDER, 10)):
        assert oxygen_minutes_of(breathed_by(log, who, stays(log, who, 30))) == minutes


def test_oxygen_logged_for_nobody_by_name_is_the_patients() -> None:
    log = [E(5, "oxygen_on")]
    assert oxygen_minutes_of(breathed_by(log, PATIENT, stays(log, PATIENT, 15))) == 10
    assert oxygen_minutes_of(breathed_by(log, TENDER, stays(log, TENDER, 15))) == 0


def test_oxygen_of_a_tender_counts_from_the_depth_of_its_rule_up() -> None:
    """30 fsw and shallower, revision 4A p. 21-26; 10 min of oxygen at 60 fsw are none of it."""
    log = [
        E(3, "reached_depth", depth_fsw=60), E(10, "oxygen_on", 2), E(20, "oxygen_off", 2), E(60, "left_stop"),
        E(90, "reached_stop", depth_fsw=30), E(95, "oxygen_on", 2), E(125, "left_stop"), E(155, "reached_surface"),
    ]  # fmt: skip
    depth = track(log, 155)
    assert depth is not None
    segments = person_segments(depth, breathed_by(log, TENDER, stays(log, TENDER, 155)))
    assert oxygen_shallow(segments, 30, 1) == 60


def test_flow_of_nothing_is_a_stop_of_the_ventilation() -> None:
    """E08 of the house's check list: 12.5 acfm stopped for 4 min, then twice the rate for 4 min (p. 22-16)."""
    log = [
        E(10, "ventilation", values={"ventilation_acfm": "12.5"}),
        E(40, "ventilation", values={"ventilation_acfm": "0"}),
        E(44, "ventilation", values={"ventilation_acfm": "25"}),
    ]
    assert stopped_minutes(flows(log), 15, 45) == 4
    assert stopped_minutes(flows(log), 42, 43) == 1
    assert stopped_minutes(flows(log), 50, 80) == 0


def test_tenders_on_air_work_and_everybody_on_a_mask_rests() -> None:
    log = [E(5, "oxygen_on", 1)]
    everybody = [(who, stays(log, who, 20), breathed_by(log, who, stays(log, who, 20))) for who in (PATIENT, TENDER)]
    found = people_at(10, everybody, at_rest=False)
    assert (found.air_working, found.mask_rest, found.air_rest) == (1, 1, 0)
    assert people_at(3, everybody, at_rest=True).air_rest == 2


SAMPLES = st.lists(st.tuples(st.floats(0, 100), st.floats(0, 165)), min_size=1, max_size=300).map(sorted)


@given(SAMPLES, st.integers(1, 50))
def test_a_thinned_record_keeps_every_extreme_of_every_column(samples: list[tuple[float, float]], columns: int) -> None:
    kept = thinned(samples, 0, 100, columns)
    assert len(kept) <= 4 * columns
    assert set(kept) <= set(samples)
    assert list(kept) == sorted(kept, key=lambda one: one[0])
    for column in range(columns):
        whole = [d for m, d in samples if min(int(m / 100 * columns), columns - 1) == column]
        part = [d for m, d in kept if min(int(m / 100 * columns), columns - 1) == column]
        if whole:
            assert (min(part), max(part)) == (min(whole), max(whole))


@pytest.mark.parametrize(("start", "end", "columns"), [(0, 0, 5), (5, 1, 5), (0, 10, 0)])
def test_a_span_of_nothing_shows_nothing(start: float, end: float, columns: int) -> None:
    assert thinned([(1, 1)], start, end, columns) == ()
