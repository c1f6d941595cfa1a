"""The planned clock as moved by a log: hand-counted times of Table 6, and laws that hold for every table.

Table 6: 3 min down at 20 fsw/min, 20 min on oxygen and 5 on air three times at 60 fsw, 30 min up to 30 fsw, 15 + 60 +
15 + 60 there, 30 min up (revision 4A; stop minutes recalled).
"""

from __future__ import annotations

from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.treatments.compute.asking import dose, planned
from tests.treatments.figures.following import PATIENT, log_of
from treatments.compute.chosen import chosen, extensions_taken
from treatments.compute.company import Occupant, breathed_by, compared_segments, person_segments, stays
from treatments.compute.levels import Level, levelled
from treatments.compute.logbook import LoggedEntry, track
from treatments.compute.phases import phases, stops
from treatments.compute.profile import Breaks
from treatments.compute.schedule import moved
from treatments.compute.so_far import depth_and_gas
from treatments.figures.rows import fsw_of
from treatments.reference import FILES, table
from treatments.reference.laws import segmentation, tolerances

if TYPE_CHECKING:
    from collections.abc import Sequence

    from treatments.compute.conformity import Deviation
    from treatments.compute.profile import Profile
    from treatments.compute.schedule import Moved

WHO = Occupant(PATIENT, "patient 1", "patient", inside=True, is_patient=True, is_tender=False)
LEVEL = Level(tolerances().depth_fsw, segmentation().hold_rate_fsw_min)
E = LoggedEntry
UP_TO_LEAVING = [one for one in log_of(planned("TT6")) if one.minute <= 78]


def looked_at(
    entries: Sequence[LoggedEntry], plan: Profile, now: float, *, over: bool = False
) -> tuple[Moved, list[Deviation]]:
    """Return the moved plan and all departures at a minute."""
    known = [one for one in entries if one.minute <= now]
    depth = track(known, now)
    assert depth is not None
    level = levelled(depth, known, LEVEL)
    breathed = breathed_by(known, WHO, stays(known, WHO, now))
    log = [compared_segments(level, breathed)]
    found, gas = depth_and_gas(plan, level.segments(), log, tolerances(), over=over)
    return moved(plan, level, breathed, tolerances()), [*found, *gas[0]]


def open_events(found: Moved) -> list[tuple[str, float]]:
    return [(str(one.due), round(one.minute, 3)) for one, done in found.events() if not done]


@given(st.sampled_from(sorted(FILES)), st.floats(0.001, 1))
def test_a_log_that_follows_its_table_is_never_moved_and_never_departs(key: str, share: float) -> None:
    plan = planned(key)
    now = plan.run_minutes * share
    found, departures = looked_at(log_of(plan), plan, now, over=share == 1)
    assert found.ends == pytest.approx(plan.ends, abs=1e-6)
    assert departures == []


@given(st.sampled_from(["TT5", "TT6", "TT6A"]), st.integers(0, 2), st.integers(0, 2), st.floats(0.01, 1))
def test_extensions_only_lengthen_what_is_to_come(key: str, deep: int, shallow: int, share: float) -> None:
    plain = planned(key)
    longer = planned(key, {60: 0 if key == "TT5" else deep, 30: shallow})
    now = share * plain.segments[1].minutes + plain.descent.minutes
    before, _none = looked_at(log_of(plain), plain, now)
    after, departures = looked_at(log_of(longer), longer, now)
    assert after.ends[-1] >= before.ends[-1] - 1e-6
    assert departures == []


def test_a_descent_that_took_four_minutes_moves_the_oxygen_tables_by_one() -> None:
    """Revision 4A: time on oxygen begins on arrival."""
    log = [E(0, "left_surface"), E(4, "reached_depth", depth_fsw=60), E(4, "oxygen_on", PATIENT)]
    found, departures = looked_at(log, planned("TT6"), 10)
    assert open_events(found)[0] == ("oxygen off", 24)
    assert found.ends[-1] == pytest.approx(289)
    assert departures == []


def test_a_slow_descent_eats_the_first_stop_of_an_air_table_and_moves_nothing() -> None:
    """Revision 4A, notes to tables 1A to 3: 30 min at 100 fsw include the time from the surface."""
    log = [E(0, "left_surface"), E(9, "reached_depth", depth_fsw=100)]
    plan = planned("TT1A")
    found, departures = looked_at(log, plan, 12)
    assert open_events(found)[0] == ("leave depth", 30)
    assert found.ends[-1] == pytest.approx(plan.run_minutes)
    assert departures == []


def test_a_period_broken_off_goes_on_where_it_was_broken_off() -> None:
    """By hand: 60 fsw at 3:40; off at 37:00 after 8:20 of the second period, on again at 41:00: 11:40 are left.

    Revision 4A, notes to table 5: after a sign of toxicity treatment is resumed at the point of interruption.
    """
    arrive = 3 + 40 / 60
    log = [
        E(0, "left_surface"),
        E(arrive, "reached_depth", depth_fsw=60),
        E(arrive, "oxygen_on", PATIENT),
        E(arrive + 20, "oxygen_off", PATIENT),
        E(arrive + 25, "oxygen_on", PATIENT),
        E(37, "oxygen_off", PATIENT),
        E(41, "oxygen_on", PATIENT),
    ]
    plan = planned("TT6")
    found, departures = looked_at(log, plan, 45)
    assert open_events(found)[:2] == [
        ("oxygen off", round(41 + 11 + 40 / 60, 3)),
        ("oxygen on", round(57 + 40 / 60, 3)),
    ]
    assert found.ends[-1] == pytest.approx(288 + 40 / 60 + 4)
    assert [(str(one.kind), round(one.size, 3)) for one in departures] == [("missed oxygen", 4)]


def test_while_the_mask_is_off_the_end_moves_with_the_clock() -> None:
    log = [
        E(0, "left_surface"),
        E(3, "reached_depth", depth_fsw=60),
        E(3, "oxygen_on", PATIENT),
        E(13, "oxygen_off", PATIENT),
    ]
    ends = [looked_at(log, planned("TT6"), now)[0].ends[-1] for now in (13, 18, 28)]
    assert ends == pytest.approx([288, 293, 303])


def test_what_is_overdue_is_told_by_how_much() -> None:
    """Oxygen off was due at 23 min; at 26 it is not logged: the break has not begun and the end moves by 3 min."""
    log = [E(0, "left_surface"), E(3, "reached_depth", depth_fsw=60), E(3, "oxygen_on", PATIENT)]
    found, _departures = looked_at(log, planned("TT6"), 26)
    assert open_events(found)[:2] == [("oxygen off", 23), ("oxygen on", 31)]
    assert found.ends[-1] == pytest.approx(291)


def test_oxygen_up_to_two_minutes_late_counts_from_arrival() -> None:
    """Tolerance of the house, 2 min; later than that the period begins when the mask is on."""
    start = [E(0, "left_surface"), E(3, "reached_depth", depth_fsw=60)]
    found, _departures = looked_at([*start, E(4.5, "oxygen_on", PATIENT)], planned("TT6"), 10)
    assert open_events(found)[0] == ("oxygen off", 23)
    found, departures = looked_at([*start, E(8, "oxygen_on", PATIENT)], planned("TT6"), 10)
    assert open_events(found)[0] == ("oxygen off", 28)
    assert ("late oxygen", 5) in [(str(one.kind), one.size) for one in departures]


def test_under_way_the_plan_goes_on_at_the_rate_of_the_table_from_the_last_line() -> None:
    log = [*UP_TO_LEAVING, E(88, "reading", depth_fsw=50)]
    found, departures = looked_at(log, planned("TT6"), 93)
    assert found.depth_fsw == pytest.approx(45)
    assert ("reach depth", 108) in open_events(found)
    assert departures == []


def test_a_halt_on_the_way_up_moves_the_arrival() -> None:
    """Revision 4A: after too fast an ascent the run halts until the clock has caught up; here 10 min at 45 fsw."""
    log = [
        *UP_TO_LEAVING,
        E(93, "reached_stop", depth_fsw=45),
        E(103, "left_stop"),
        E(108, "reading", depth_fsw=40),
    ]
    found, departures = looked_at(log, planned("TT6"), 108)
    assert ("reach depth", 118) in open_events(found)
    assert [str(one.kind) for one in departures] == ["stop that was not planned"]


def test_a_fast_ascent_is_told_while_the_run_is_on() -> None:
    log = [*UP_TO_LEAVING, E(88, "reading", depth_fsw=40)]
    _found, departures = looked_at(log, planned("TT6"), 89)
    assert [(str(one.kind), one.planned, one.logged) for one in departures] == [("fast ascent", 1, 2)]


def test_a_stop_left_early_is_short_at_once_and_the_rest_moves_up() -> None:
    """60 fsw left at 70 min instead of 78: 67 of 75 min, and the second half of the last oxygen period missing."""
    log = [
        *[one for one in log_of(planned("TT6")) if one.minute < 70],
        E(70, "left_stop"),
        E(75, "reading", depth_fsw=55),
    ]
    found, departures = looked_at(log, planned("TT6"), 75)
    assert found.ends[-1] == pytest.approx(280)
    assert ("short stop", 75, 67) in [(str(one.kind), one.planned, one.logged) for one in departures]


def test_readings_that_wobble_within_a_foot_are_one_stop() -> None:
    """One fsw is the house tolerance; a change of more is a change of depth."""
    log = [E(0, "left_surface"), E(3, "reached_depth", depth_fsw=60)]
    log += [E(6 + 3 * n, "reading", depth_fsw=60 + (0.4, -0.7, 0.9, -0.2)[n % 4]) for n in range(20)]
    depth = track(log, 70)
    assert depth is not None
    (stop,) = stops(phases(levelled(depth, log, LEVEL).segments(), 1))
    assert (stop.start_min, stop.end_min, stop.start_fsw) == (3, 70, 60)
    assert depth.depth_at(7.5) == pytest.approx(59.85)  # by hand, between 60.4 at 6 and 59.3 at 9: the dose uses this


def test_readings_every_half_minute_on_the_way_up_are_no_stop() -> None:
    log = [E(0, "left_surface"), E(3, "reached_depth", depth_fsw=60), E(78, "left_stop")]
    log += [E(78 + n / 2, "reading", depth_fsw=60 - n / 2) for n in range(1, 30)]
    depth = track(log, 92.5)
    assert depth is not None
    assert len(stops(phases(levelled(depth, log, LEVEL).segments(), 1))) == 1


def test_extensions_are_counted_by_depth_and_what_the_table_does_not_state_is_named() -> None:
    def taken(depth: str, count: str = "1") -> LoggedEntry:
        return E(1, "extension", values={"extension_depth_fsw": depth, "extension_count": count})

    log = [taken("60"), taken("60", "2"), taken("45"), taken("30.5")]
    counts = extensions_taken(log)
    assert counts == {60: 3, 45: 1, 30.5: 1}
    used = chosen(table("TT6"), counts, [], 1)
    assert list(used.beyond) == [(60, 3, 2), (45, 1, 0)]
    assert used.plan.table_minutes == 285 + 3 * 25 + 75


def test_an_open_first_stop_lasts_as_long_as_it_was_kept() -> None:
    """Table 4: 30 to 120 min at 165 fsw with the descent (revision 4A, notes)."""
    log = [E(0, "left_surface"), E(8.25, "reached_depth", depth_fsw=165), E(50, "left_stop")]
    depth = track(log, 55)
    assert depth is not None
    done = phases(levelled(depth, log, LEVEL).segments(), 1)
    assert chosen(table("TT4"), {}, done, 1).choices.first_stop_min == 50
    assert chosen(table("TT4"), {}, [], 1).choices.first_stop_min == 30


def test_table_6a_at_its_depth_of_relief_climbs_from_there() -> None:
    """Revision 4A p. 21-38: relief at 120 fsw, up to 60 fsw at 3 fsw/min: 20 min."""
    log = [E(0, "left_surface"), E(6, "reached_depth", depth_fsw=120)]
    depth = track(log, 20)
    assert depth is not None
    done = phases(levelled(depth, log, LEVEL).segments(), 1)
    used = chosen(table("TT6A"), {}, done, 1)
    assert used.choices.relief_fsw == 120
    assert next(one.minutes for one in used.plan.segments if one.start_fsw == 120 and not one.is_stop) == 20


@pytest.mark.parametrize("breaks", list(Breaks))
def test_table_five_with_two_extensions_follows_any_of_its_three_legal_lengths(breaks: Breaks) -> None:
    """Revision 4A, notes to table 5: no air break is required between periods nor before the ascent: 185, 175, 170 min."""
    plan = planned("TT5", {30: 2}, breaks)
    assert plan.table_minutes == {"kept": 185, "before ascent": 175, "none": 170}[breaks]
    log = log_of(plan)
    depth = track(log, plan.run_minutes)
    assert depth is not None
    used = chosen(table("TT5"), {30: 2}, phases(levelled(depth, log, LEVEL).segments(), 1), 1)
    assert used.choices.breaks is breaks
    _moved, departures = looked_at(log, used.plan, plan.run_minutes, over=True)
    assert departures == []


READINGS = st.lists(st.floats(0.01, 0.99), min_size=1, max_size=8)


@given(st.sampled_from(["TT5", "TT6", "TT9"]), READINGS)
def test_more_lines_of_the_log_along_the_same_depth_change_no_dose(key: str, shares: list[float]) -> None:
    """The dose of split segments adds up."""
    plan = planned(key)
    log = log_of(plan)
    depth = track(log, plan.run_minutes)
    assert depth is not None
    minutes = [share * plan.run_minutes for share in shares]
    more = sorted([*log, *(E(minute, "reading", depth_fsw=depth.depth_at(minute)) for minute in minutes)], key=_minute)
    finer = track(more, plan.run_minutes)
    assert finer is not None
    breathed = breathed_by(log, WHO, stays(log, WHO, plan.run_minutes))
    whole, split = (dose(person_segments(one, breathed)) for one in (depth, finer))
    assert split == pytest.approx(whole, rel=1e-6)


def _minute(one: LoggedEntry) -> float:
    return one.minute


@pytest.mark.parametrize("unit", ["bar", "kPa", "MPa", "psi"])
@given(st.floats(0.1, 5))
def test_a_depth_typed_in_another_unit_of_pressure_agrees_with_pint(unit: str, bar: float) -> None:
    """1 msw = 10 kPa and 3.2646 fsw (recalled); the other units by pint."""
    registry = _registry()
    value = round(registry.Quantity(bar, "bar").to(unit).magnitude, 6)
    expected = registry.Quantity(value, unit).to("kPa").magnitude / 10 * 3.2646
    assert fsw_of(Decimal(str(value)), unit) == pytest.approx(expected, rel=1e-5)


@lru_cache
def _registry() -> pint.UnitRegistry[float]:
    return pint.UnitRegistry()
