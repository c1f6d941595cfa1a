"""Cutting a recorded profile: made-up recordings of tables whose stops are known from the handbook."""

from __future__ import annotations

import csv
import io
import time
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import linregress

from tests.treatments.compute.asking import planned
from tests.treatments.compute.records import Flaws, record
from treatments.compute.conformity import Departure, compare
from treatments.compute.fitting import Fit
from treatments.compute.recorded import in_gap, recorded
from treatments.compute.segmentation import PieceKind, SegmentationError, cut
from treatments.reference.laws import segmentation, tolerances

SETTINGS = segmentation()
STOP, ASCENT, DESCENT, GAP = PieceKind

#: table 6: arrives at 60 fsw at 3 min, leaves at 78, at 30 fsw from 108 to 258, surface at 288
SIX = [(DESCENT, 0, 3), (STOP, 3, 78), (ASCENT, 78, 108), (STOP, 108, 258), (ASCENT, 258, 288)]

FLAWS = {
    "clean": Flaws(noise=0),
    "noise": Flaws(noise=0.3),
    "whole feet": Flaws(noise=0.1, step=1),
    "spikes": Flaws(noise=0.2, spikes=0.01),
    "every 10 s": Flaws(every_s=10),
    "every 2 s in half feet": Flaws(every_s=2, step=0.5),
}


@pytest.mark.parametrize("name", FLAWS)
@pytest.mark.parametrize("seed", [1, 2])
def test_a_table_six_is_found_again_within_half_a_minute(name: str, seed: int) -> None:
    pieces = cut(*record(planned("TT6"), FLAWS[name], seed), SETTINGS)
    assert [one.kind for one in pieces] == [kind for kind, _, _ in SIX]
    for one, (_, start, end) in zip(pieces, SIX, strict=True):
        assert [one.start_min, one.end_min] == pytest.approx([start, end], abs=0.5)
    assert [pieces[1].start_fsw, pieces[3].start_fsw] == pytest.approx([60, 30], abs=0.2)


def test_a_drifting_gauge_still_shows_stops() -> None:
    """A drift of 0.01 fsw a minute is 2.9 fsw at the end of table 6."""
    pieces = cut(*record(planned("TT6"), Flaws(drift=0.01)), SETTINGS)
    assert [one.kind for one in pieces] == [kind for kind, _, _ in SIX]
    assert pieces[3].start_fsw == pytest.approx(30 + 0.01 * 183, abs=0.3)


def test_a_gap_stays_a_gap() -> None:
    pieces = cut(*record(planned("TT6"), Flaws(gap=(100, 110))), SETTINGS)
    (gap,) = [one for one in pieces if one.kind is GAP]
    assert (gap.start_min, gap.end_min) == (100, 110)
    assert [gap.start_fsw, gap.end_fsw] == pytest.approx([38, 30], abs=0.3)
    assert [in_gap(minute, pieces) for minute in (99, 105, 111)] == [False, True, False]


def test_the_steps_of_table_seven_are_all_found() -> None:
    """60 fsw and 28 steps of 2 fsw down to 4 fsw (revision 4A, notes to table 7)."""
    pieces = cut(*record(planned("TT7"), Flaws(noise=0.1, every_s=5)), SETTINGS)
    depths = [round(one.start_fsw) for one in pieces if one.kind is STOP]
    assert depths == list(range(60, 3, -2))


@pytest.mark.parametrize("key", ["TT5", "TT6A", "TT1A", "OX-2.4"])
def test_stops_of_other_tables_are_found(key: str) -> None:
    run = planned(key)
    pieces = cut(*record(run, Flaws()), SETTINGS)
    depths = [round(one.start_fsw) for one in pieces if one.kind is STOP]
    expected = [round(one.start_fsw) for one in run.segments if one.is_stop]
    assert depths == list(dict.fromkeys(expected))


@pytest.mark.parametrize("flaws", [Flaws(), Flaws(noise=0.2, step=1), Flaws(noise=0.3, spikes=0.005)])
@pytest.mark.parametrize(("key", "extensions"), [("TT6", {60: 1}), ("TT1A", {}), ("TT6A", {30: 2})])
def test_a_record_of_the_plan_departs_from_it_nowhere(key: str, extensions: dict[float, int], flaws: Flaws) -> None:
    run = planned(key, extensions)
    pieces = cut(*record(run, replace(flaws, wait_s=600)), SETTINGS)
    found = compare(run, recorded(pieces, 1.0), tolerances())
    assert found.deviations == ()
    assert not found.gas_compared


def test_a_record_without_the_extension_shows_the_short_stop() -> None:
    pieces = cut(*record(planned("TT6"), Flaws()), SETTINGS)
    (one,) = compare(planned("TT6", {60: 1}), recorded(pieces, 1.0), tolerances()).deviations
    assert (one.kind, round(one.depth_fsw), one.planned) == (Departure.SHORT_STOP, 60, 100)
    assert one.size == pytest.approx(25, abs=0.5)


@pytest.mark.parametrize(
    ("times", "depths", "says"),
    [
        ([0.0], [0.0], "record: 1 times and 1 depths"),
        ([0.0, 1.0], [0.0], "record: 2 times and 1 depths"),
        ([0.0, 2.0, 1.0], [0.0, 1.0, 2.0], "sample 3, time: 1 s is not taken. Allowed: after 2 s.*clock that jumped"),
        ([0.0, 1.0, 1.0], [0.0, 1.0, 2.0], "sample 3, time: 1 s"),
        ([0.0, 1.0], [0.0, float("nan")], "sample 2: 1.0 s, nan fsw"),
        ([0.0, float("inf")], [0.0, 1.0], "sample 2: inf s"),
    ],
)
def test_a_record_that_cannot_be_cut_names_the_sample(times: list[float], depths: list[float], says: str) -> None:
    with pytest.raises(SegmentationError, match=says):
        cut(times, depths, SETTINGS)


def test_a_record_that_stays_at_the_surface_is_refused() -> None:
    pieces = cut([float(s) for s in range(600)], [0.0] * 600, SETTINGS)
    with pytest.raises(SegmentationError, match="no descent from 1 fsw or shallower"):
        recorded(pieces, 1.0)


@settings(max_examples=50, deadline=None)
@given(
    st.lists(st.tuples(st.floats(0.5, 400), st.floats(0, 200)), min_size=2, max_size=200),
    st.sampled_from([1.0, 5.0, 30.0]),
)
def test_pieces_cover_any_record_without_holes(rows: list[tuple[float, float]], bin_s: float) -> None:
    times, now = [], 0.0
    for wait, _ in rows:
        now += wait
        times.append(now)
    pieces = cut(times, [depth for _, depth in rows], type(SETTINGS)(60, bin_s, 0.75, 0.25, 1, 0.25))
    for one, after in pairwise(pieces):
        assert one.end_min == after.start_min
    assert all(one.minutes >= 0 for one in pieces)


@given(
    st.lists(
        st.tuples(st.floats(0, 600), st.floats(0, 200)), min_size=3, max_size=60, unique_by=lambda row: round(row[0], 1)
    )
)
def test_a_fitted_line_is_that_of_scipy(rows: list[tuple[float, float]]) -> None:
    line = linregress([row[0] for row in rows], [row[1] for row in rows])
    half = len(rows) // 2
    for fit in (Fit.of(rows), Fit.of(rows[:half]) + Fit.of(rows[half:])):
        assert fit.slope == pytest.approx(line.slope, rel=1e-6, abs=1e-6)
        assert fit.at(0) == pytest.approx(line.intercept, rel=1e-5, abs=1e-4)


def test_18_000_samples_are_cut_and_compared_in_time() -> None:
    """At most 1.5 s, and at most 30 times the parsing of the same text into floats."""
    run = planned("TT6", {60: 1})
    times, depths = record(run, Flaws(noise=0.2, spikes=0.001))
    times, depths = times[:18000], depths[:18000]
    text = "".join(f"{time},{depth:.2f}\n" for time, depth in zip(times, depths, strict=True))
    start = time.perf_counter()
    rows = [(float(row[0]), float(row[1])) for row in csv.reader(io.StringIO(text))]
    parsed = time.perf_counter() - start
    start = time.perf_counter()
    compare(run, recorded(cut([row[0] for row in rows], [row[1] for row in rows], SETTINGS), 1.0), tolerances())
    took = time.perf_counter() - start
    assert took <= 1.5
    assert took <= 30 * parsed


def test_ten_times_the_samples_take_about_ten_times_as_long() -> None:
    """Linear time, with room for a busy machine."""
    times, depths = record(planned("TT4"), Flaws(noise=0.2))

    def took(count: int) -> float:
        start = time.perf_counter()
        cut(times[:count], depths[:count], SETTINGS)
        return time.perf_counter() - start

    assert min(took(100_000) for _ in range(2)) <= 40 * min(took(10_000) for _ in range(5))


def test_waiting_at_the_surface_before_and_after_is_not_part_of_the_run() -> None:
    times, depths = record(planned("TT6"), Flaws(wait_s=300))
    times += [times[-1] + second for second in range(1, 600)]
    depths += [0.05] * 599
    log = recorded(cut(times, depths, SETTINGS), 1.0)
    assert sum(one.minutes for one in log) == pytest.approx(288, abs=0.5)
    assert [log[0].start_fsw, log[-1].end_fsw] == pytest.approx([0, 0], abs=0.2)


def test_two_rates_of_ascent_are_two_pieces_and_one_rate_is_one() -> None:
    """From 60 fsw at 3 fsw a minute to 30, then at 1; the halves of one rate belong together."""
    times = [float(second) for second in range(0, 4201, 5)]

    def depth(minute: float) -> float:
        if minute <= 20:
            return 60.0
        return max(60 - 3 * (minute - 20), 0) if minute <= 30 else max(30 - (minute - 30), 0)

    pieces = cut(times, [depth(second / 60) for second in times], SETTINGS)
    ascents = [one for one in pieces if one.kind is ASCENT]
    rates = [(one.start_fsw - one.end_fsw) / one.minutes for one in ascents]
    assert rates == pytest.approx([3, 1], abs=0.05)
    assert ascents[1].start_min == pytest.approx(30, abs=0.25)
