"""Calibration of gauges: limits, errors, budget, decisions, conformance, head; against published worked values."""

from __future__ import annotations

from decimal import Decimal
from math import inf
from typing import Any

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from maintenance.compute.calibration import (
    CalibrationError,
    Means,
    Point,
    calibrated,
    head_correction,
    largest_hysteresis,
    largest_spread,
    points_from,
    with_head,
)
from maintenance.compute.decisions import (
    Decision,
    DecisionError,
    Rule,
    Verdict,
    acceptance_limit,
    conformance,
    guarded_limit,
    uncertainty_ratio,
    verdict,
)
from maintenance.compute.gas import content_kg
from maintenance.compute.gauge_limits import (
    GaugeLimitError,
    Limits,
    Scale,
    by_zones,
    limit_at,
    percent_of_span,
    same_everywhere,
)
from maintenance.reference import gas_law
from maintenance.worksheets.common import values

GAUGES = values("gauges.toml")
TEN_BAR = Scale(Decimal(0), Decimal(10))
MEANS = Means(reference_expanded=0.010, reference_k=2, resolution=0.02, zero_shift=0.02)
REFERENCE = tuple(map(Decimal, ("0", "2", "4", "6", "8", "10")))
UP = tuple(map(Decimal, ("0.00", "2.02", "4.05", "6.06", "8.05", "10.04")))
DOWN = tuple(map(Decimal, ("0.02", "2.08", "4.11", "6.10", "8.07", "10.04")))
GUARDED = Decision(Rule.GUARDED)
SIZES = st.floats(-10, 10)


def test_class_limits_are_of_the_span() -> None:
    """EN 837-1: class 1.6 on 0 to 10 bar is 0.16 bar; class 1 on -1 to +5 bar is 0.06 bar, the span being 6."""
    assert limit_at(same_everywhere(Decimal("1.6")), TEN_BAR, Decimal(4)) == Decimal("0.16")
    assert limit_at(same_everywhere(Decimal(1)), Scale(Decimal(-1), Decimal(5)), Decimal(4)) == Decimal("0.06")


def test_a_grade_of_one_figure_holds_for_the_whole_scale() -> None:
    """ASME B40.100, grade 2A, 0.5 % (from memory)."""
    assert by_zones([Decimal("0.5")]) == same_everywhere(Decimal("0.5"))


def test_errors_in_percent_of_full_scale() -> None:
    """U.S. Army ammunition course MM0486: 0 to 500 psi gauge, 260 and 240 at a true 250: +2 and -2 %."""
    scale = Scale(Decimal(0), Decimal(500))
    assert [percent_of_span(Decimal(shown) - 250, scale) for shown in (260, 240)] == [2, -2]


@pytest.mark.parametrize(
    ("value", "limit"), [("0", "2"), ("24.9", "2"), ("25", "1"), ("50", "1"), ("75", "1"), ("75.1", "2"), ("100", "2")]
)
def test_grade_a_is_tighter_in_the_middle_and_at_the_quarter_marks(value: str, limit: str) -> None:
    """ASME B40.100, grade A 2-1-2 (from memory); a point at a mark takes the tighter limit by the facility's reading."""
    grade = by_zones([Decimal(one) for one in GAUGES["b40.A"].value])
    assert limit_at(grade, Scale(Decimal(0), Decimal(100)), Decimal(value)) == Decimal(limit)


def test_a_guarded_limit_is_the_limit_less_the_uncertainty() -> None:
    """MSL Technical Guide 13: class 1, 4000 kPa, U 25 kPa: 40 - 25 = 15 kPa."""
    limit = limit_at(same_everywhere(Decimal(1)), Scale(Decimal(0), Decimal(4000)), Decimal(2000))
    assert guarded_limit(limit, 25) == 15
    assert verdict(Decimal(15), limit, 25, GUARDED) is Verdict.PASSED
    assert verdict(Decimal("15.1"), limit, 25, GUARDED) is Verdict.FAILED


def test_a_whole_calibration_recomputed_by_hand() -> None:
    """By hand with JCGM 100:2008 4.3.7: e 0.11 at 4 bar, h 0.06, u 0.0198, U 0.0396, 0.1204, pass, p 0.9942."""
    points = points_from(REFERENCE, UP, DOWN, ())
    found = calibrated(points, TEN_BAR, same_everywhere(Decimal("1.6")), MEANS, (GUARDED, 0.9545))
    assert (found.worst.point.worst, found.worst.point.reference) == (Decimal("0.11"), Decimal(4))
    assert found.hysteresis == Decimal("0.06")
    assert found.budget.combined == pytest.approx(0.0198, abs=0.00005)
    assert found.budget.expanded == pytest.approx(0.0396, abs=0.00005)
    assert found.guarded_limit == pytest.approx(0.1204, abs=0.00005)
    assert found.worst.conformance == pytest.approx(0.9942, abs=0.00005)
    assert found.verdict is Verdict.PASSED
    assert found.ratio == pytest.approx(16)


def test_the_worst_point_is_the_one_nearest_to_its_own_limit() -> None:
    """Grade A: 0.15 in the middle, limit 0.1, is worse than 0.18 at the end, limit 0.2; by hand."""
    points = (Point(Decimal(5), Decimal("5.15")), Point(Decimal(10), Decimal("10.18")))
    grade = by_zones([Decimal(2), Decimal(1), Decimal(2)])
    found = calibrated(points, TEN_BAR, grade, Means(0, 2, 0), (Decision(Rule.SIMPLE), 0.9545))
    assert found.worst.point.reference == 5
    assert [one.verdict for one in found.points] == [Verdict.FAILED, Verdict.PASSED]
    assert found.verdict is Verdict.FAILED
    assert found.ratio is None


def test_errors_are_exact_as_typed() -> None:
    """2.16 - 2.00 is 0.16 and passes a limit of 0.16."""
    found = calibrated(
        (Point(Decimal("2.00"), Decimal("2.16")),),
        TEN_BAR,
        Limits(own=Decimal("0.16")),
        MEANS,
        (Decision(Rule.SIMPLE), 0.95),
    )
    assert found.verdict is Verdict.PASSED


def test_repeatability_is_taken_from_each_runs_own_start() -> None:
    """By hand: the second run begins 0.01 higher and differs by 0.04 at most: 0.03 is left."""
    points = points_from(REFERENCE[:3], UP[:3], (), tuple(map(Decimal, ("0.01", "2.06", "4.06"))))
    assert largest_spread(points) == Decimal("0.03")
    assert largest_hysteresis(points) == 0
    assert points[0].error_down is None


def test_a_head_moves_every_reference_value() -> None:
    assert with_head((Point(Decimal(2), Decimal("2.1")),), Decimal("0.05"))[0].error_up == Decimal("0.05")


def test_lists_of_unlike_length_and_no_points_are_refused() -> None:
    with pytest.raises(CalibrationError, match="down: 5 readings for 6"):
        points_from(REFERENCE, UP, DOWN[:5], ())
    with pytest.raises(CalibrationError, match="No points"):
        calibrated((), TEN_BAR, Limits(own=Decimal(1)), MEANS, (GUARDED, 0.95))


def test_impossible_limits_are_refused() -> None:
    with pytest.raises(GaugeLimitError, match="Scale 5 to 5"):
        limit_at(same_everywhere(Decimal(1)), Scale(Decimal(5), Decimal(5)), Decimal(5))
    with pytest.raises(GaugeLimitError, match="2 figures"):
        by_zones([Decimal(1), Decimal(2)])
    with pytest.raises(GaugeLimitError, match="No limit"):
        limit_at(Limits(), TEN_BAR, Decimal(1))
    with pytest.raises(DecisionError, match="Limit 0"):
        verdict(Decimal(0), Decimal(0), 0.1, GUARDED)


@pytest.mark.parametrize(
    ("low", "high", "measured", "standard", "probability"),
    [(None, -5.40, -5.47, 0.05, 0.92), (490, None, 509.7, 8.6, 0.99), (12.5, 16.3, 13.6, 1.8, 0.66)],
)
def test_conformance_of_the_guides_examples(
    low: float | None, high: float | None, measured: float, standard: float, probability: float
) -> None:
    """JCGM 106:2012, examples of clause 7 (two decimals), and scipy's normal distribution."""
    found = conformance(measured, standard, low, high)
    assert found == pytest.approx(probability, abs=0.005)
    normal = stats.norm(measured, standard)
    assert found == pytest.approx(normal.cdf(inf if high is None else high) - normal.cdf(-inf if low is None else low))


def test_an_acceptance_limit_with_relative_uncertainty() -> None:
    """JCGM 106:2012, clause 8: limit 100, 2 %, 99.9 % wished: 107 (106.59)."""
    assert acceptance_limit(100, 0.02, 0.999) == pytest.approx(106.59, abs=0.01)
    with pytest.raises(DecisionError, match="no value meets"):
        acceptance_limit(100, 0.5, 0.999)


@pytest.mark.parametrize(
    ("error", "say"),
    [
        ("0.6", Verdict.PASSED),
        ("-0.7", Verdict.PASSED),
        ("0.71", Verdict.CONDITIONALLY_PASSED),
        ("1", Verdict.CONDITIONALLY_PASSED),
        ("-1.01", Verdict.CONDITIONALLY_FAILED),
        ("1.3", Verdict.CONDITIONALLY_FAILED),
        ("1.31", Verdict.FAILED),
    ],
)
def test_the_non_binary_rule_has_four_words(error: str, say: Verdict) -> None:
    """ILAC-G8:09/2019, page 10: borders at limit less w, limit, limit plus w; here 0.7, 1, 1.3."""
    assert verdict(Decimal(error), Decimal(1), 0.3, Decision(Rule.NON_BINARY)) is say


def test_simple_acceptance_asks_for_a_small_uncertainty() -> None:
    """JCGM 106:2012, 8.2.3: simple acceptance with U at most a third of the limit."""
    rule = Decision(Rule.SIMPLE, largest_u=0.33)
    assert verdict(Decimal(1), Decimal(1), 0.33, rule) is Verdict.PASSED
    assert verdict(Decimal("0.1"), Decimal(1), 0.34, rule) is Verdict.TOO_UNCERTAIN


def test_guarding_by_u_accepts_falsely_in_at_most_2_3_percent() -> None:
    """JCGM 106:2012, 8.3.2: with w = U and k = 2 a value at the guarded limit conforms with 97.7 %."""
    assert conformance(1 - 0.2, 0.1, None, 1) == pytest.approx(0.977, abs=0.0005)


@pytest.mark.parametrize(("height", "density", "kpa"), [(1.5, 998.2, 14.67), (2.0, None, 5.46)])
def test_a_head_of_water_and_of_oxygen(height: float, density: float | None, kpa: float) -> None:
    """Hydrostatics: water line 1.5 m +14.67 kPa; oxygen at 200 bar, 2.0 m +5.46 kPa (density by CoolProp 8.0.0)."""
    rho = 1000 * content_kg(gas_law("O2"), 1.0, 20_000, 20) if density is None else density
    found = head_correction(rho, float(GAUGES["head.air_density"].number), 9.80665, height)
    assert found == pytest.approx(kpa, abs=0.01)
    unit: Any = pint.UnitRegistry()
    oracle = (rho - 1.2) * unit("kg/m^3") * unit("standard_gravity") * height * unit("m")
    assert found == pytest.approx(oracle.to("kPa").magnitude)


def test_the_uncertainty_ratio_names_the_reference() -> None:
    assert uncertainty_ratio(0.16, 0.04) == pytest.approx(4)
    assert uncertainty_ratio(0.16, 0) is None


@given(SIZES, st.floats(0, 5), st.floats(0, 5), st.floats(0, 5))
def test_conformance_is_a_probability_and_grows_with_the_limits(
    measured: float, standard: float, half: float, more: float
) -> None:
    narrow, wide = (conformance(measured, standard, -size, size) for size in (half, half + more))
    assert 0 <= narrow <= wide + 1e-15
    assert wide <= 1


@given(st.floats(0, 5), st.floats(0, 5), st.floats(0.001, 5), st.floats(0.1, 5))
def test_conformance_falls_as_the_error_grows(one: float, other: float, standard: float, limit: float) -> None:
    small, large = sorted((one, other))
    at_small, at_large = (conformance(size, standard, -limit, limit) for size in (small, large))
    assert at_large <= at_small + 1e-12


def test_conformance_refuses_crossed_limits_and_negative_uncertainty() -> None:
    with pytest.raises(DecisionError, match="crossed"):
        conformance(0, 1, 2, 1)
    with pytest.raises(DecisionError, match="Standard uncertainty -1"):
        conformance(0, -1, 0, 1)


@given(SIZES.map(lambda one: Decimal(str(round(one, 3)))), st.floats(0, 3))
def test_a_guarded_pass_is_also_a_simple_pass(error: Decimal, expanded: float) -> None:
    if verdict(error, Decimal(1), expanded, GUARDED) is Verdict.PASSED:
        assert verdict(error, Decimal(1), expanded, Decision(Rule.SIMPLE)) is Verdict.PASSED
