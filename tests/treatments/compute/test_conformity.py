"""A log against its plan: what follows the plan departs nowhere; each departure has its kind and size."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.treatments.compute.asking import planned
from treatments.compute.conformity import Departure, compare
from treatments.compute.phases import LogError, Point, logged, phases, stops
from treatments.compute.tables import Segment
from treatments.reference import FILES
from treatments.reference.laws import tolerances

HOUSE = tolerances()
Rows = list[Segment]


def six() -> Rows:
    return list(planned("TT6").segments)


def found(log: Rows, key: str = "TT6", **change: float) -> list[tuple[Departure, float, float]]:
    """Return kind, planned and logged of each departure."""
    comparison = compare(planned(key), log, replace(HOUSE, **change))
    return [(one.kind, one.planned, round(one.logged, 6)) for one in comparison.deviations]


@pytest.mark.parametrize("key", FILES)
def test_a_log_that_is_the_plan_departs_nowhere(key: str) -> None:
    assert found(list(planned(key).segments), key) == []


@given(st.sampled_from(sorted(FILES)), st.integers(0, 10_000))
def test_a_log_that_follows_the_plan_in_other_pieces_departs_nowhere(key: str, seed: int) -> None:
    chance = Random(seed)  # noqa: S311 - where a log happens to have lines
    log: Rows = []
    for one in planned(key).segments:
        share = chance.uniform(0.05, 0.95)
        middle = one.start_fsw + (one.end_fsw - one.start_fsw) * share
        log.append(replace(one, end_fsw=middle, minutes=one.minutes * share))
        log.append(replace(one, start_fsw=middle, minutes=one.minutes * (1 - share)))
    assert found(log, key) == []


@given(st.floats(-0.9, 0.9), st.integers(1, 5))
def test_what_stays_within_the_tolerance_is_no_departure(shift: float, place: int) -> None:
    log = six()
    log[place] = replace(log[place], minutes=log[place].minutes + shift)
    assert found(log) == []


def test_a_short_and_a_long_stop() -> None:
    """Stop at 60 fsw 75 min: two minutes less, then two more, both in the last air break."""
    log = six()
    log[6] = replace(log[6], minutes=3)
    assert found(log, break_min=5) == [(Departure.SHORT_STOP, 75, 73)]
    log[6] = replace(log[6], minutes=7)
    assert found(log, break_min=5) == [(Departure.LONG_STOP, 75, 77)]


def test_a_fast_ascent_is_found_where_it_happened() -> None:
    """60 to 45 fsw in 10 min is 1.5 fsw a minute of 1; then a halt until the clock has caught up."""
    log = six()
    log[7:8] = [Segment(60, 45, 10, "O2"), Segment(45, 45, 5, "O2"), Segment(45, 30, 15, "O2")]
    assert found(log) == [(Departure.FAST_ASCENT, 1, 1.5), (Departure.UNPLANNED_STOP, 0, 5)]
    (first, _) = compare(planned("TT6"), log, HOUSE).deviations
    assert (first.minute, first.depth_fsw, first.unit, first.size) == (78, 60, "fsw/min", 0.5)
    assert first.rule.source == "usn-rev4a"


def test_a_fast_descent_is_found_and_a_slow_one_is_not() -> None:
    """On the oxygen tables a slow descent changes nothing: the clock starts on arrival (revision 4A)."""
    log = six()
    assert found([replace(log[0], minutes=2), *log[1:]]) == [(Departure.FAST_DESCENT, 20, 30)]
    assert found([replace(log[0], minutes=10), *log[1:]]) == []


def test_a_slow_descent_eats_the_first_stop_of_an_air_table() -> None:
    """Revision 4A, notes to tables 1A to 3: 30 min at 100 fsw include the time from the surface."""
    log = list(planned("TT1A").segments)
    assert found([replace(log[0], minutes=10), replace(log[1], minutes=20), *log[2:]], "TT1A") == []
    late = [replace(log[0], minutes=10), *log[1:]]
    assert found(late, "TT1A") == [(Departure.LONG_STOP, 30, 35)]


def test_deeper_than_planned() -> None:
    log = six()
    log[1:2] = [Segment(60, 63, 1, "O2"), Segment(63, 60, 3, "O2"), Segment(60, 60, 16, "O2")]
    kinds = [kind for kind, _, _ in found(log, rate_fsw_min=5)]
    assert Departure.TOO_DEEP in kinds


def test_a_missed_stop_takes_its_oxygen_with_it() -> None:
    log = [Segment(0, 60, 3, "AIR"), *six()[1:7], Segment(60, 0, 60, "O2")]
    assert found(log) == [
        (Departure.MISSED_STOP, 150, 0),
        (Departure.MISSED_OXYGEN, 150, 0),
    ]


def test_late_oxygen_and_what_it_leaves_missing() -> None:
    """Oxygen 6 min after arrival at 60 fsw; 14 of its 20 minutes left, 84 of 90 up to 30 fsw."""
    log = six()
    log[1:2] = [Segment(60, 60, 6, "AIR"), Segment(60, 60, 14, "O2")]
    assert found(log) == [(Departure.MISSED_OXYGEN, 90, 84), (Departure.LATE_OXYGEN, 0, 6)]


def test_lengths_of_air_breaks() -> None:
    """Breaks of 5 min at 60 fsw: one of 8, one of 2; the break of 15 that opens 30 fsw cut to 10."""
    log = six()
    log[2], log[4] = replace(log[2], minutes=8), replace(log[4], minutes=2)
    assert found(log) == [(Departure.LONG_BREAK, 5, 8), (Departure.SHORT_BREAK, 5, 2)]
    log = six()
    log[8] = replace(log[8], minutes=10)
    assert found(log, stop_min=10) == [(Departure.SHORT_BREAK, 15, 10)]


def test_a_break_left_out_is_counted() -> None:
    log = six()
    log[2] = replace(log[2], gas="O2")
    assert found(log) == [(Departure.OTHER_BREAKS, 3, 2)]


def test_a_record_without_gas_leaves_gas_uncompared() -> None:
    log = [replace(one, gas="") for one in six()]
    comparison = compare(planned("TT6"), log, HOUSE)
    assert (comparison.deviations, comparison.gas_compared) == ((), False)
    assert comparison.tolerances == HOUSE


def test_points_of_a_log_become_segments() -> None:
    log = logged([Point(0, 0, "AIR"), Point(3, 60, "O2"), Point(23, 60, "AIR"), Point(28, 60)])
    assert log[0] == Segment(0, 60, 3, "AIR")
    assert log[2] == Segment(60, 60, 5, "AIR")


@pytest.mark.parametrize(
    ("points", "says"),
    [
        ([Point(0, 0)], "log: 1 points are not taken"),
        ([Point(0, 0), Point(5, 60), Point(4, 60)], "log, point 3, minute: 4 is not taken. Allowed: after 5"),
        ([Point(0, 0), Point(0, 60)], "log, point 2, minute: 0"),
        ([Point(0, 0), Point(5, -1)], "log, point 2: -1 fsw"),
        ([Point(0, 0), Point(5, float("nan"))], "log, point 2: nan fsw"),
    ],
)
def test_a_log_that_cannot_be_is_refused_by_point(points: list[Point], says: str) -> None:
    with pytest.raises(LogError, match=says):
        logged(points)


def test_stops_that_a_wobble_parts_are_one_stop() -> None:
    """60 fsw, half a foot up and back, 60 fsw: one stop of 20 min."""
    log = [
        Segment(0, 60, 3, ""),
        Segment(60, 60, 9, ""),
        Segment(60, 59.5, 1, ""),
        Segment(59.5, 60, 1, ""),
        Segment(60, 60, 9, ""),
        Segment(60, 0, 3, ""),
    ]
    (stop,) = stops(phases(log, 1.0))
    assert (stop.start_min, stop.end_min, stop.start_fsw) == (3, 23, 60)


def test_a_stop_at_another_depth_is_another_stop() -> None:
    log = [Segment(0, 60, 3, ""), Segment(60, 60, 9, ""), Segment(58, 58, 9, ""), Segment(58, 0, 3, "")]
    assert [one.start_fsw for one in stops(phases(log, 1.0))] == [60, 58]


def test_oxygen_that_was_never_breathed_is_missed_and_not_late() -> None:
    log = [replace(one, gas="AIR") for one in six()]
    assert found(log) == [(Departure.MISSED_OXYGEN, 90, 0), (Departure.MISSED_OXYGEN, 150, 0)]
