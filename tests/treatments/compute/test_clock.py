"""The planned clock of a run against the figure of table 6 (recalled), and its laws."""

from __future__ import annotations

import pytest

from tests.treatments.compute.asking import planned
from treatments.compute.clock import Due, next_event, planned_events
from treatments.compute.profile import oxygen_minutes
from treatments.reference import FILES

#: table 6: descent 3 min; at 60 fsw 20 oxygen, 5 air, three times; 30 min up; at 30 fsw 15 air, 60 oxygen, twice; 30 min up
SIX = [
    (0, Due.LEAVE_SURFACE, 0),
    (3, Due.REACH_DEPTH, 60),
    (3, Due.OXYGEN_ON, 60),
    (23, Due.OXYGEN_OFF, 60),
    (28, Due.OXYGEN_ON, 60),
    (48, Due.OXYGEN_OFF, 60),
    (53, Due.OXYGEN_ON, 60),
    (73, Due.OXYGEN_OFF, 60),
    (78, Due.LEAVE_DEPTH, 60),
    (78, Due.OXYGEN_ON, 60),
    (108, Due.REACH_DEPTH, 30),
    (108, Due.OXYGEN_OFF, 30),
    (123, Due.OXYGEN_ON, 30),
    (183, Due.OXYGEN_OFF, 30),
    (198, Due.OXYGEN_ON, 30),
    (258, Due.LEAVE_DEPTH, 30),
    (288, Due.REACH_SURFACE, 0),
]


def test_the_clock_of_table_six() -> None:
    found = planned_events(planned("TT6"))
    assert [(one.minute, one.due, one.depth_fsw) for one in found] == SIX


def test_the_next_event_and_none_after_the_last() -> None:
    run = planned("TT6")
    upcoming = next_event(run, 22.5)
    assert upcoming is not None
    assert (upcoming.minute, upcoming.due) == (23, Due.OXYGEN_OFF)
    assert next_event(run, 288) is None


@pytest.mark.parametrize("key", FILES)
def test_oxygen_between_on_and_off_is_the_oxygen_of_the_table(key: str) -> None:
    run = planned(key)
    total, since = 0.0, None
    for one in planned_events(run):
        if one.due is Due.OXYGEN_ON:
            since = one.minute
        elif one.due in (Due.OXYGEN_OFF, Due.REACH_SURFACE) and since is not None:
            total, since = total + one.minute - since, None
    assert total == pytest.approx(oxygen_minutes(run.segments))


@pytest.mark.parametrize("key", FILES)
def test_depths_reached_are_depths_left(key: str) -> None:
    found = planned_events(planned(key))
    reached = [one.depth_fsw for one in found if one.due is Due.REACH_DEPTH]
    assert reached == [one.depth_fsw for one in found if one.due is Due.LEAVE_DEPTH]
