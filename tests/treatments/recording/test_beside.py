"""A record beside the log: made-up records of table 6, whose stops the handbook states (revision 4A)."""

from __future__ import annotations

import pytest

from tests.treatments.compute.asking import planned
from tests.treatments.compute.records import Flaws, record
from treatments.compute.beside import Line, beside, moved, not_in_log, piece_at, spread
from treatments.compute.segmentation import Piece, PieceKind, cut
from treatments.reference.laws import segmentation

SETTINGS = segmentation()
#: arrives at 60 fsw at 3 min, leaves at 78, at 30 fsw from 108 to 258, surface at 288
TRUE = [("left_surface", 0, 0), ("reached_depth", 3, 60), ("left_depth", 78, 60), ("reached_stop", 108, 30),
        ("left_stop", 258, 30), ("reached_surface", 288, 0)]  # fmt: skip


def lines(**late: float) -> list[Line]:
    return [Line(n, kind, minute + late.get(kind, 0), depth) for n, (kind, minute, depth) in enumerate(TRUE)]


def pieces_of(flaws: Flaws, seed: int) -> tuple[Piece, ...]:
    return cut(*record(planned("TT6"), flaws, seed), SETTINGS)


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("noise", [0.0, 0.15, 0.3])
def test_a_log_that_tells_what_was_recorded_does_not_differ(noise: float, seed: int) -> None:
    found = beside(lines(), pieces_of(Flaws(noise=noise), seed), 1, 1)
    assert [one for one in found if one.depth_differs or one.time_differs] == []
    for one in found:
        assert one.apart_min == pytest.approx(0, abs=0.5)


@pytest.mark.parametrize("late_min", [-6.0, 4.0, 9.0])
def test_a_line_written_for_another_minute_differs_by_that_much(late_min: float) -> None:
    found = beside(lines(reached_stop=late_min), pieces_of(Flaws(), 1), 1, 1)
    (one,) = [one for one in found if one.time_differs]
    assert one.line.kind == "reached_stop"
    assert one.apart_min == pytest.approx(-late_min, abs=0.5)
    assert not one.depth_differs  # told once, as time


def test_a_wrong_depth_differs_by_that_much_and_the_recorded_stop_stands_alone() -> None:
    wrong = [Line(1, "reached_depth", 3, 60), Line(2, "reading", 150, 40), Line(3, "left_depth", 78, 60)]
    pieces = pieces_of(Flaws(), 1)
    found = beside(wrong, pieces, 1, 1)
    (one,) = [one for one in found if one.depth_differs]
    assert one.line.key == 2
    assert one.apart_fsw == pytest.approx(-10, abs=0.3)
    (alone,) = not_in_log(pieces, wrong, 1, 1)
    assert alone.start_fsw == pytest.approx(30, abs=0.3)
    assert alone.minutes == pytest.approx(150, abs=1)


def test_an_event_that_the_record_does_not_have_is_named() -> None:
    (found,) = beside([Line(1, "reached_stop", 150, 45)], pieces_of(Flaws(), 1), 1, 1)
    assert (found.recorded_min, found.time_differs) == (None, True)


def test_in_a_gap_nothing_is_held_against_the_log() -> None:
    pieces = pieces_of(Flaws(gap=(100, 110)), 1)
    (found,) = beside([Line(1, "reading", 105, 50)], pieces, 1, 1)
    assert (found.in_gap, found.recorded_fsw, found.depth_differs) == (True, None, False)


def test_pieces_move_onto_the_clock_of_the_run() -> None:
    pieces = moved([Piece(PieceKind.DESCENT, 5, 8, 0, 60), Piece(PieceKind.STOP, 8, 83, 60, 60)], 5)
    assert [(one.start_min, one.end_min) for one in pieces] == [(0, 3), (3, 78)]
    assert piece_at(90, pieces) is None


def test_what_the_pieces_smooth_away_is_told_by_its_size() -> None:
    """A dip of 4 fsw for three seconds, at 150 min, in a record without noise."""
    times, depths = record(planned("TT6"), Flaws(noise=0))
    for second in (9000, 9001, 9002):
        depths[second] += 4
    found = spread(times, depths, cut(times, depths, SETTINGS), SETTINGS.tolerance_fsw)
    assert found is not None
    assert found.minute == pytest.approx(150, abs=0.1)
    assert found.sample_fsw - found.piece_fsw == pytest.approx(4, abs=0.1)
    assert 3 <= found.count <= 10  # a bend may add a sample or two


def test_a_drift_of_the_gauge_shows_as_a_growing_difference() -> None:
    """0.02 fsw a minute: 3.7 fsw at the middle of the stop at 30 fsw, minute 183."""
    pieces = pieces_of(Flaws(noise=0.1, drift=0.02), 1)
    (found,) = beside([Line(1, "reading", 183, 30)], pieces, 1, 1)
    assert found.depth_differs
    assert found.apart_fsw == pytest.approx(0.02 * 183, abs=0.3)
