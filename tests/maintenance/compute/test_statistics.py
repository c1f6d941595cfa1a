"""Quantiles against scipy; budgets, decisions, drift and reliability against published worked values."""

from __future__ import annotations

from math import inf, isinf

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from maintenance.compute import distributions as ours
from maintenance.compute.drift import DriftError, crossing, crossing_with_uncertainty, fit
from maintenance.compute.reliability import (
    ReliabilityError,
    all_in_date,
    enough_good,
    hidden_unavailability,
    lower_bound_without_failure,
    mtbf,
    run_success,
    spares,
    steady_availability,
)
from maintenance.compute.uncertainty import BudgetError, Component, Shape, combine

PROBABILITIES = [1e-6, 0.001, 0.05, 0.3, 0.5, 0.7, 0.9, 0.97725, 0.995, 1 - 1e-6]
FREEDOMS = [1, 2, 3, 5, 16, 16.7, 30, 120, 999, 10_000]


@pytest.mark.parametrize("freedom", FREEDOMS)
@pytest.mark.parametrize("probability", PROBABILITIES)
def test_student_and_chi_square_agree_with_scipy(probability: float, freedom: float) -> None:
    assert ours.t_quantile(probability, freedom) == pytest.approx(stats.t.ppf(probability, freedom), rel=1e-8, abs=1e-9)
    assert ours.chi_square_quantile(probability, freedom) == pytest.approx(
        stats.chi2.ppf(probability, freedom), rel=1e-8
    )


@given(st.floats(-30, 30), st.floats(1, 500))
def test_probabilities_agree_with_scipy(value: float, freedom: float) -> None:
    assert ours.t_probability(value, freedom) == pytest.approx(stats.t.cdf(value, freedom), abs=1e-12)
    assert ours.chi_square_probability(abs(value), freedom) == pytest.approx(
        stats.chi2.cdf(abs(value), freedom), abs=1e-12
    )


@pytest.mark.parametrize(("probability", "z"), [(0.8, 0.84), (0.9, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)])
def test_one_sided_factors_are_those_of_the_guide(probability: float, z: float) -> None:
    """JCGM 106:2012, table 1 (two decimals)."""
    assert ours.normal_quantile(probability) == pytest.approx(z, abs=0.006)


def test_many_degrees_of_freedom_are_normal() -> None:
    assert ours.t_quantile(0.975, inf) == pytest.approx(stats.norm.ppf(0.975), rel=1e-9)
    assert ours.t_probability(1e200, 3) == 1
    assert ours.t_probability(1.0, inf) == pytest.approx(stats.norm.cdf(1.0), rel=1e-12)


@pytest.mark.parametrize(("probability", "freedom"), [(0.0, 5), (1.0, 5), (0.5, 0), (0.5, -1)])
def test_what_has_no_quantile_is_refused(probability: float, freedom: float) -> None:
    with pytest.raises(ours.ProbabilityError, match="must be more than 0"):
        ours.t_quantile(probability, freedom)


def test_the_end_gauge_of_the_guide() -> None:
    """JCGM 100:2008, H.1: u_c 32 nm, 16 degrees of freedom, k99 2.92, U 93 nm (92.5 where 31.66 is kept)."""
    difference = combine(
        (Component("a", 5.8, Shape.STANDARD), Component("b", 3.9, Shape.STANDARD), Component("c", 6.7, Shape.STANDARD)),
        0.99,
    )
    assert difference.combined == pytest.approx(9.7, abs=0.05)
    parts = (
        Component("standard", 25, Shape.STANDARD, freedom=18),
        Component("repeated", 5.8, Shape.STANDARD, freedom=24),
        Component("random", 3.9, Shape.STANDARD, freedom=5),
        Component("systematic", 6.7, Shape.STANDARD, freedom=8),
        Component("expansion", 1e-6, Shape.RECTANGULAR, sensitivity=5e6, freedom=50),
        Component("temperature", 0.05, Shape.RECTANGULAR, sensitivity=575, freedom=2),
    )
    found = combine(parts, 0.99)
    assert found.combined == pytest.approx(32, abs=0.5)
    assert found.components[4].standard == pytest.approx(2.9, abs=0.05)
    assert found.components[5].standard == pytest.approx(16.6, abs=0.05)
    assert found.freedom == pytest.approx(16.7, abs=0.1)
    assert found.freedom_used == 16
    assert found.k == pytest.approx(2.92, abs=0.005)
    assert found.expanded == pytest.approx(92.5, abs=0.1)


def test_the_freedom_of_the_difference_comes_from_unrounded_parts() -> None:
    """JCGM 100:2008, H.1.6 prints 25.6 from rounded parts; unrounded it is 25.45, recomputed by hand."""
    u = (5.8**2 + 3.9**2 + 6.7**2) ** 0.5
    by_hand = u**4 / (5.8**4 / 24 + 3.9**4 / 5 + 6.7**4 / 8)
    parts = tuple(
        Component(str(freedom), value, Shape.STANDARD, freedom=freedom)
        for value, freedom in ((5.8, 24), (3.9, 5), (6.7, 8))
    )
    assert combine(parts, 0.95).freedom == pytest.approx(by_hand)
    assert by_hand == pytest.approx(25.6, abs=0.2)


def test_well_known_components_have_no_end_of_freedom() -> None:
    found = combine((Component("a", 1.0), Component("b", 2.0, Shape.NORMAL, k=2), Component("c", 0.0)), 0.9545)
    assert isinf(found.freedom)
    assert found.k == pytest.approx(2.0, abs=1e-4)
    assert combine((Component("none", 0.0),), 0.95).expanded == 0


def test_shapes_divide_as_the_guide_says() -> None:
    """JCGM 100:2008, 4.3.7 root 3, 4.3.9 root 6; U-shaped root 2 from memory."""
    shapes = {Shape.RECTANGULAR: 3, Shape.TRIANGULAR: 6, Shape.U_SHAPED: 2}
    for shape, square in shapes.items():
        assert Component("x", 1.0, shape).standard ** 2 == pytest.approx(1 / square)


def test_a_negative_component_is_refused() -> None:
    with pytest.raises(BudgetError, match="zero: value -1"):
        combine((Component("zero", -1.0),), 0.95)


THERMOMETER = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
CORRECTIONS = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]


def test_the_thermometer_of_the_guide() -> None:
    """JCGM 100:2008, H.3 (table H.6 from memory): intercept -0.1712(29), slope 0.00218(67), r -0.930, at 30 degC -0.1494(41)."""
    line = fit(THERMOMETER, CORRECTIONS, origin=20)
    assert line.intercept == pytest.approx(-0.1712, abs=0.00005)
    assert line.u_intercept == pytest.approx(0.0029, abs=0.00005)
    assert line.slope == pytest.approx(0.00218, abs=0.000005)
    assert line.u_slope == pytest.approx(0.00067, abs=0.000005)
    assert line.correlation == pytest.approx(-0.930, abs=0.0005)
    assert line.scatter == pytest.approx(0.0035, abs=0.00005)
    assert line.at(30) == pytest.approx(-0.1494, abs=0.00005)
    assert line.u_at(30) == pytest.approx(0.0041, abs=0.00005)


@given(
    st.lists(st.tuples(st.integers(0, 120), st.floats(-1, 1)), min_size=3, max_size=40, unique_by=lambda one: one[0])
)
def test_a_line_agrees_with_scipy_and_numpy(points: list[tuple[int, float]]) -> None:
    times, values = [float(x) for x, _ in points], [y for _, y in points]
    line, oracle = fit(times, values), stats.linregress(times, values)
    assert line.slope == pytest.approx(oracle.slope, abs=1e-9)
    assert line.intercept == pytest.approx(oracle.intercept, abs=1e-9)
    assert line.u_slope == pytest.approx(oracle.stderr, abs=1e-7)
    assert line.u_intercept == pytest.approx(oracle.intercept_stderr, abs=1e-6)
    design = np.column_stack([np.ones(len(times)), times])
    covariance = line.scatter**2 * np.linalg.inv(design.T @ design)
    at = np.array([1.0, 60.0])
    assert line.u_at(60.0) == pytest.approx(float(np.sqrt(max(0.0, at @ covariance @ at))), abs=1e-6)


def test_a_drifting_gauge_crosses_its_limits_when_the_line_says() -> None:
    """Recomputed by hand from the normal equations: slope 0.00242 a month, 58 and 42 months."""
    line = fit([0, 12, 24, 36], [0.02, 0.05, 0.07, 0.11])
    assert line.slope == pytest.approx(0.00242, abs=0.000005)
    assert crossing(line, 0.16, 36) == pytest.approx(58, abs=0.5)
    assert crossing(line, 0.12, 36) == pytest.approx(42, abs=0.5)


def test_the_band_crosses_before_the_line() -> None:
    line = fit([0, 12, 24, 36], [0.02, 0.05, 0.07, 0.11])
    plain, sooner = crossing(line, 0.16, 36), crossing_with_uncertainty(line, 0.16, 36, 0.95)
    assert plain is not None
    assert sooner is not None
    assert 36 <= sooner < plain
    k = stats.t.ppf(0.975, 2)
    assert line.at(sooner) + k * line.u_at(sooner) == pytest.approx(0.16, abs=1e-9)


def test_a_falling_line_crosses_the_lower_limit() -> None:
    line = fit([0, 10, 20], [0.0, -0.1, -0.2])
    assert crossing(line, 0.5, 20) == pytest.approx(50)
    assert crossing_with_uncertainty(line, 0.5, 20, 0.95) == pytest.approx(50)
    assert crossing(line, 0.1, 20) == 20
    assert crossing_with_uncertainty(line, 0.1, 20, 0.95) == 20


def test_a_flat_line_never_crosses_but_its_band_does() -> None:
    flat = fit([0, 10, 20], [0.0, 0.0, 0.0])
    assert crossing(flat, 0.5, 20) is None
    assert crossing_with_uncertainty(flat, 0.5, 20, 0.95) is None
    rough = fit([0, 10, 20, 30], [0.1, -0.1, -0.1, 0.1])
    assert crossing(rough, 50.0, 30) is None
    found = crossing_with_uncertainty(rough, 50.0, 30, 0.95)
    assert found is not None
    assert abs(rough.at(found)) + stats.t.ppf(0.975, 2) * rough.u_at(found) == pytest.approx(50.0, rel=1e-6)


def test_two_calibrations_give_a_line_without_uncertainty() -> None:
    line = fit([0, 12], [0.0, 0.1])
    assert line.u_at(12) == inf
    assert crossing_with_uncertainty(line, 0.2, 12, 0.95) is None


@pytest.mark.parametrize(("times", "values"), [([0], [1]), ([3, 3], [1, 2]), ([0, 1], [1])])
def test_what_makes_no_line_is_refused(times: list[float], values: list[float]) -> None:
    with pytest.raises(DriftError, match="Give one value|at least two"):
        fit(times, values)


def test_bounds_of_the_time_between_failures() -> None:
    """Formulas of NIST/SEMATECH 8.4.5.1, worked with chi-square tables: 4332 h, 434 h, 127 to 2251 h."""
    assert mtbf(8760, 1, 0.60).lower_one_sided == pytest.approx(4332, abs=1)
    assert mtbf(1000, 0, 0.90).lower_one_sided == pytest.approx(434, abs=1)
    assert lower_bound_without_failure(1000, 0.90) == pytest.approx(434, abs=1)
    both = mtbf(800, 2, 0.90)
    assert both.point == 400
    assert both.lower == pytest.approx(127, abs=0.5)
    assert both.upper == pytest.approx(2251, abs=0.5)


def test_one_failure_gives_the_lower_bound_only() -> None:
    found = mtbf(8760, 1, 0.60)
    assert (found.point, found.lower, found.upper) == (None, None, None)


@pytest.mark.parametrize(("mean", "stock"), [(0.5, 2), (1, 3), (2, 5)])
def test_spares_of_a_lead_time(mean: float, stock: int) -> None:
    """Poisson distribution with 95 %: scipy's quantile is the oracle."""
    assert spares(mean, 0.95) == stock == stats.poisson.ppf(0.95, mean)


def test_a_hidden_failure_waits_half_an_interval() -> None:
    """1e-5 per hour, tested every 4380 h: 0.0219 by the rule of half, 0.0216 exactly; formula from memory."""
    approximate, exact = hidden_unavailability(1e-5, 4380)
    assert approximate == pytest.approx(0.0219, abs=0.00005)
    assert exact == pytest.approx(0.0216, abs=0.00005)
    assert hidden_unavailability(0, 4380) == (0, 0)


def test_chances_multiply_and_enough_of_many_are_binomial() -> None:
    """0.99 x 0.98 x 0.97 x 0.995 = 0.936; ten of 0.99 give 0.904; scipy for the binomial tail."""
    assert all_in_date([0.99, 0.98, 0.97, 0.995]) == pytest.approx(0.936, abs=0.0005)
    assert all_in_date([0.99] * 10) == pytest.approx(0.904, abs=0.0005)
    assert enough_good(4, 6, 0.95) == pytest.approx(stats.binom.sf(3, 6, 0.95))


def test_availability_by_hand() -> None:
    """exp(-1) for a run as long as the mean; 90 h up and 10 h down is 0.9."""
    assert run_success(400, 400) == pytest.approx(0.36788, abs=0.00001)
    assert steady_availability(90, 10) == 0.9


def test_figures_that_say_nothing_are_refused() -> None:
    with pytest.raises(ReliabilityError, match="no bound"):
        mtbf(0, 1, 0.9)
    with pytest.raises(ReliabilityError, match="share between 0 and 1"):
        spares(-1, 0.95)
    with pytest.raises(ReliabilityError, match="less than certainty"):
        spares(500, 1 - 1e-16)
