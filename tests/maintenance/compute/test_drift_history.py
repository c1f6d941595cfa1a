"""A history with adjustments: what an adjustment does is no drift."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from maintenance.compute.drift import fit
from maintenance.compute.drift_history import Found, levelled, shifts

ERRORS = st.floats(-5, 5)


@given(st.floats(-0.1, 0.1), st.lists(st.none() | ERRORS, min_size=3, max_size=12))
def test_steady_drift_is_found_whatever_adjustments_did(slope: float, lefts: list[float | None]) -> None:
    """An instrument that drifts steadily and is set to any error now and then: the slope is that of the drift."""
    history, now = [], 0.0
    for number, left in enumerate(lefts):
        history.append(Found(12.0 * number, now, left))
        now = (now if left is None else left) + 12.0 * slope
    line = fit([one.months for one in history], levelled(history))
    assert line.slope == pytest.approx(slope, abs=1e-9)
    last = history[-1]
    assert line.at(last.months) == pytest.approx(last.error if last.left is None else last.left, abs=1e-9)


@given(st.lists(st.tuples(ERRORS, st.none() | ERRORS), min_size=3, max_size=10))
def test_the_line_through_a_levelled_history_is_that_of_scipy(rows: list[tuple[float, float | None]]) -> None:
    """scipy.stats.linregress on errors levelled by hand: each adjustment added to all before it."""
    history = [Found(6.0 * number, error, left) for number, (error, left) in enumerate(rows)]
    by_hand = [
        one.error + sum(later.left - later.error for later in history[number:] if later.left is not None)
        for number, one in enumerate(history)
    ]
    theirs = stats.linregress([one.months for one in history], by_hand)
    ours = fit([one.months for one in history], levelled(history))
    assert ours.slope == pytest.approx(theirs.slope, abs=1e-9)
    flat = all(error == by_hand[0] for error in by_hand)  # scipy has no standard error for a flat line
    assert ours.u_slope == pytest.approx(0.0 if flat else theirs.stderr, abs=1e-7)
    assert ours.intercept == pytest.approx(theirs.intercept, abs=1e-8)


def test_without_adjustment_nothing_is_moved() -> None:
    history = [Found(0, 0.02), Found(12, 0.05), Found(24, 0.07), Found(36, 0.11)]
    assert shifts(history) == (0.0, 0.0, 0.0, 0.0)
    assert levelled(history) == (0.02, 0.05, 0.07, 0.11)
