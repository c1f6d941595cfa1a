"""Shipped tables against the handbook's printed totals, and the refusals of a table that cannot be."""

from __future__ import annotations

import copy
import json
from typing import Any

import pytest

from facility.compute.reference import Sourced, Standing
from tests.treatments.compute.asking import planned
from treatments.compute.profile import Choices, ProfileError, depth_at, gas_at, oxygen_minutes, profile, steps
from treatments.compute.table_parts import as_parts, parts_from
from treatments.compute.tables import StopClock, TableError, read_table
from treatments.reference import FILES, TABLES, fractions, table, table_values

#: U.S. Navy Diving Manual revision 4A; recalled totals: table clock, and from the surface at 20 fsw/min
TOTALS = [
    ("TT5", 135, 138, 120),
    ("TT6", 285, 288, 240),
    ("TT6A", 350, 350, 240),
    ("TT6A-older", 319, 319, 240),
    ("TT9", 102.25, 104.5, 92.25),
    ("TT1A", 472, 472, 0),
    ("TT2A", 813, 813, 0),
    ("TT3", 1293, 1293, 0),
    ("TT4", 2346, 2346, 0),
]


@pytest.mark.parametrize(("key", "by_clock", "from_surface", "oxygen"), TOTALS)
def test_the_minutes_of_a_table_are_those_of_its_figure(
    key: str, by_clock: float, from_surface: float, oxygen: float
) -> None:
    run = planned(key)
    assert (run.table_minutes, run.run_minutes, oxygen_minutes(run.segments)) == (by_clock, from_surface, oxygen)


def test_every_file_of_a_table_is_listed_and_can_be_read() -> None:
    assert sorted(path.stem for path in TABLES.glob("*.toml")) == sorted(FILES.values())
    assert all(table(key).key == key for key in FILES)


def test_tables_whose_minutes_are_not_known_are_not_shipped() -> None:
    assert not {"TT8", "Cx30"} & set(FILES)


def test_a_table_six_with_all_extensions_lasts_485_minutes() -> None:
    """Four extensions add 200 minutes (recalled lengths); 488 from the surface."""
    run = planned("TT6", {60: 2, 30: 2})
    assert (run.table_minutes, run.run_minutes, oxygen_minutes(run.segments)) == (485, 488, 400)


def test_a_table_six_lasts_close_to_five_hours() -> None:
    """Common practice, no source."""
    assert planned("TT6").run_minutes / 60 == pytest.approx(5, abs=0.25)


def test_table_four_with_the_longest_first_stop_lasts_2436_minutes() -> None:
    """Recalled total 40 h 36 of the figure."""
    assert profile(table("TT4"), Choices({}, first_stop_min=120)).table_minutes == 2436


@pytest.mark.parametrize("minutes", [29, 121])
def test_table_four_refuses_a_first_stop_outside_30_to_120_minutes(minutes: float) -> None:
    """Revision 4A, notes to table 4."""
    with pytest.raises(ProfileError, match=rf"first stop: {minutes} min is not taken.*30 to 120 min"):
        profile(table("TT4"), Choices({}, first_stop_min=minutes))


def test_table_seven_leaves_40_fsw_after_7_hours_and_20_fsw_after_18() -> None:
    """36 h of steps; the rate changes on arrival at 40 and 20 fsw. Revision 4A, notes to table 7; minutes recalled."""
    run = planned("TT7")
    first_move = run.descent.minutes + 720
    leaves = {step.depth_fsw: step.leave_min - first_move for step in steps(run)}
    assert (leaves[60], leaves[40], leaves[20], leaves[4]) == (0, 7 * 60, 18 * 60, 36 * 60)
    assert run.run_minutes - first_move == 36 * 60 + 4


def test_table_seven_may_stay_at_60_fsw_for_as_long_as_asked_but_not_less_than_12_hours() -> None:
    assert profile(table("TT7"), Choices({}, first_stop_min=3000)).table_minutes == 3000 + 36 * 60 + 4
    with pytest.raises(ProfileError, match="720 min or more"):
        profile(table("TT7"), Choices({}, first_stop_min=700))


def test_table_6a_climbs_from_its_depth_of_relief_at_3_fsw_a_minute() -> None:
    """Revision 4A, p. 21-38."""
    run = profile(table("TT6A"), Choices({}, relief_fsw=120))
    ascent = next(one for one in run.segments if not one.is_stop and one.start_fsw == 120)
    assert (ascent.minutes, ascent.ascent_rate, run.table_minutes) == (20, 3, 335)
    assert run.segments[1].minutes == 30 - 120 / 20


@pytest.mark.parametrize("depth", [60, 166])
def test_table_6a_refuses_a_depth_of_relief_beyond_165_or_not_below_60(depth: float) -> None:
    with pytest.raises(ProfileError, match=f"depth of relief: {depth} fsw"):
        profile(table("TT6A"), Choices({}, relief_fsw=depth))


def test_more_extensions_than_stated_are_the_physicians() -> None:
    with pytest.raises(ProfileError, match=r"extensions at 60 fsw: 3 is not taken. Allowed: 0 to 2;.*physician"):
        planned("TT6", {60: 3})
    with pytest.raises(ProfileError, match="extensions at 45 fsw: 1 is not taken"):
        planned("TT9", {45: 1})


def test_depth_and_gas_at_a_minute_of_table_six() -> None:
    """Descent 3 min; 20 O2, 5 air, 20 O2, 5 air, 20 O2, 5 air at 60; then 30 min to 30 fsw on oxygen."""
    run = planned("TT6")
    assert [depth_at(run, minute) for minute in (0, 1.5, 3, 78, 93, 108, 288)] == [0, 30, 60, 60, 45, 30, 0]
    assert [gas_at(run, minute) for minute in (0, 3, 22.9, 23, 28, 78, 108)] == [
        "AIR",
        "O2",
        "O2",
        "AIR",
        "O2",
        "O2",
        "AIR",
    ]
    with pytest.raises(ProfileError, match="minute: 288.5 is not taken. Allowed: 0 to 288"):
        depth_at(run, 288.5)


@pytest.mark.parametrize("key", FILES)
def test_parts_of_a_table_go_round_and_come_back(key: str) -> None:
    parts = json.loads(json.dumps(as_parts(table(key))))
    assert read_table(key, parts, fractions()) == table(key)


def test_stop_minutes_from_memory_are_marked_so_and_the_notes_are_not() -> None:
    values = table_values("TT6")
    assert {one.standing for name, one in values.items() if name.startswith("segments.")} == {Standing.MEMORY}
    assert table_values("TT6A")["segments.02"].standing is Standing.RETRIEVED
    assert table_values("TT7")["hold"].standing is Standing.RETRIEVED


def parts() -> dict[str, Any]:
    return copy.deepcopy(as_parts(table("TT6")))


BAD = [
    (("segments", 1, 2), 0, "segments, row 2, minutes: 0 is refused"),
    (("segments", 1, 2), -5, "row 2, minutes: -5"),
    (("segments", 1, 2), "5", "row 2, minutes: '5'"),
    (("segments", 1, 2), float("nan"), "row 2, minutes: nan"),
    (("segments", 1, 2), True, "row 2, minutes: True"),
    (("segments", 1, 0), 50, "row 2, start fsw: 50.* 60, where the one before ends"),
    (("segments", 0, 3), "O3", "row 1, gas: 'O3' is refused. Allowed: one of AIR, O2"),
    (("segments", 11, 1), 5, "last row, end fsw: 5"),
    (("segments", 2), [60, 60, 20], "row 3: .*four values"),
    (("descent", "rate"), 0, "descent, rate: 0"),
    (("descent", "speed"), 20, "descent, entry: 'speed'"),
    (("extensions", 0, "depth"), 55, "extension, depth: 55"),
    (("extensions", 0, "allowed"), 1.5, "allowed: 1.5"),
    (("extensions", 0, "segments"), [[60, 50, 10, "O2"]], "stops at 60 fsw only"),
    (("stop_time_begins",), "noon", "stop_time_begins: 'noon'"),
    (("total",), 284, "total: 284 is refused. Allowed: 285 min, the sum of the segments"),
    (("title",), " ", "title: ' '"),
    (("colour",), "red", "table, entry: 'colour'"),
    (("depth_of_relief",), "yes", "depth_of_relief: 'yes'"),
    (("segments",), [], "segments: 0 is refused"),
    (("segments",), "none", "segments: 'none' is refused. Allowed: a list"),
    (("descent",), 20, "descent: 20 is refused. Allowed: an object with"),
    (("first_stop",), {"least": 30, "most": 20}, "first_stop, most: 20"),
]  # fmt: skip


@pytest.mark.parametrize(("path", "value", "says"), BAD)
def test_a_table_that_cannot_be_is_refused_by_name(path: tuple[Any, ...], value: object, says: str) -> None:
    bad = parts()
    place: Any = bad
    for key in path[:-1]:
        place = place[key]
    place[path[-1]] = value
    with pytest.raises(TableError, match=says):
        read_table("own", bad, fractions())


def test_a_missing_part_is_named() -> None:
    bad = parts()
    del bad["descent"]
    with pytest.raises(TableError, match="descent: None is refused. Allowed: it must be given"):
        read_table("own", bad, fractions())


def test_a_first_stop_shorter_than_its_descent_is_refused() -> None:
    bad = parts() | {"stop_time_begins": str(StopClock.SURFACE)}
    bad["segments"][0][2] = 3
    with pytest.raises(TableError, match="segments, row 1, minutes: 3.0.*more than the 3 min of the descent"):
        read_table("own", bad, fractions())


STEPS = {
    "hold": [60, 60, 720, "AIR"],
    "steps.1": [58, 40, 2, 40],
    "step_travel": 0.5,
    "last_ascent": [40, 0, 40, "AIR"],
}


@pytest.mark.parametrize(
    ("name", "value", "says"),
    [
        ("steps.1", [58, 40, 2], "steps.1: .*four values"),
        ("steps.1", [57, 40, 2, 40], "steps.1: .*a start at 58 fsw and whole steps of 2 fsw"),
        ("step_travel", -1, "step_travel: -1"),
    ],
)
def test_steps_that_do_not_fit_are_refused(name: str, value: object, says: str) -> None:
    values = {key: Sourced(key, one, "", "", "", "", Standing.SITE) for key, one in {**STEPS, name: value}.items()}
    with pytest.raises(TableError, match=says):
        parts_from(values)


def test_steps_become_their_travel_and_the_rest_of_their_minutes() -> None:
    values = {key: Sourced(key, one, "", "", "", "", Standing.SITE) for key, one in STEPS.items()}
    rows = parts_from(values)["segments"]
    assert rows[1:3] == [[60, 58, 0.5, "AIR"], [58, 58, 39.5, "AIR"]]
    assert sum(row[2] for row in rows) == 720 + 10 * 40 + 40
