"""Lines of a log that belong together and stand a moment apart, in either order: figures as if they were at once.

Table 6: 30 fsw is reached at 108 min on oxygen and opens with 15 min of air (revision 4A; stop minutes recalled). That
two lines of one act are typed some seconds apart is common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.treatments.compute.asking import planned
from tests.treatments.figures.following import PATIENT, log_of
from tests.treatments.figures.test_moved_clock import E, looked_at, open_events
from treatments.compute.logbook import LoggedEntry
from treatments.compute.tables import StopClock
from treatments.reference import FILES

ARRIVAL = 108
UP_TO_30 = [one for one in log_of(planned("TT6")) if one.minute < ARRIVAL]
SECONDS = st.floats(-20, 20).map(lambda second: second / 60)


def told(log: list[LoggedEntry], now: float, *, over: bool = False) -> list[tuple[str, float, float]]:
    _moved, departures = looked_at(log, planned("TT6"), now, over=over)
    return [(str(one.kind), round(one.planned, 6), round(one.logged, 6)) for one in departures]


def at_30(*, off: float, on: float, reached: float = ARRIVAL) -> list[LoggedEntry]:
    """Return a log of Table 6 up to the first oxygen at 30 fsw, the mask off and on at these minutes."""
    lines = [E(reached, "reached_stop", depth_fsw=30), E(off, "air_break", PATIENT), E(on, "oxygen_on", PATIENT)]
    return sorted([*UP_TO_30, *lines], key=lambda one: one.minute)


@pytest.mark.parametrize("seconds", [-30, -1, 0, 1, 30])
@pytest.mark.parametrize("now", [109, 120, 125, 140])
def test_an_air_break_a_moment_before_or_after_the_arrival_is_the_whole_break(seconds: int, now: float) -> None:
    """15 min from the air break to the oxygen, by hand."""
    off = ARRIVAL + seconds / 60
    assert told(at_30(off=off, on=off + 15), now) == []


def test_an_air_break_that_began_late_is_told_by_how_much_and_its_minutes_are_counted_from_its_beginning() -> None:
    """Arrival 108:00, air 111:00 to 126:00: 3 min late, 15 min long; 111:00 to 121:00 is 5 min short as well."""
    assert told(at_30(off=111, on=126), 140) == [("late air break", 0, 3)]
    assert told(at_30(off=111, on=121), 140) == [("late air break", 0, 3), ("short air break", 15, 10)]


def test_a_break_that_was_left_out_is_still_told_as_none() -> None:
    """On oxygen through the 15 min that open 30 fsw: no air at all."""
    assert ("short air break", 15, 0) in told([*UP_TO_30, E(ARRIVAL, "reached_stop", depth_fsw=30)], 140)


@pytest.mark.parametrize(("clock", "due_at"), [(StopClock.ARRIVAL, 126.1), (StopClock.DEEPER_STEP, 123.1)])
def test_after_a_slow_ascent_the_break_is_still_what_comes_next(clock: StopClock, due_at: float) -> None:
    """33 min up instead of 30; the mask comes off 6 s after arrival: oxygen on is due 15 min after that, not at once.

    Where a table counts the travel to a stop, the 3 min too much are taken off the first stretch there: 12 min.
    """
    plan = replace(planned("TT6"), clock=clock)
    moved, _departures = looked_at(at_30(off=111.1, on=400, reached=111), plan, 113)
    (due, minute), *_later = open_events(moved)
    assert due == "oxygen on"
    assert minute == pytest.approx(due_at)


@given(st.sampled_from(sorted(FILES)), st.data(), st.floats(0.01, 1))
def test_whatever_table_the_order_of_lines_within_a_moment_changes_nothing(
    key: str, data: st.DataObject, share: float
) -> None:
    """Masks go on and off some seconds before or after their minute; stops are stated twice."""
    plan = planned(key)
    log = []
    for one in log_of(plan):
        if one.kind in ("oxygen_on", "oxygen_off"):
            log.append(replace(one, minute=max(0.0, one.minute + data.draw(SECONDS))))
            continue
        log.append(one)
        if one.kind == "reached_stop":
            log.append(replace(one, minute=one.minute + abs(data.draw(SECONDS))))
    log.sort(key=lambda one: one.minute)
    now = plan.run_minutes * share
    found, departures = looked_at(log, plan, now, over=share == 1)
    assert departures == []
    assert found.ends[-1] == pytest.approx(plan.ends[-1], abs=1)
