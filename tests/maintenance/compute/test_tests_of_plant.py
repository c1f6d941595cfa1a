"""Hold tests, gas analyses, gas content, interval proposals, renewal; against published worked values."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from facility.compute.reference import UnsourcedError
from facility.compute.renewal import RenewalLaw, shortfall
from maintenance.compute.gas import compressibility, content_kg, ideal_kg, usable_litres
from maintenance.compute.gas_limits import Odour, Point, Sample, SampleVerdict, judge, judge_all
from maintenance.compute.gas_limits_file import parse_limit_sets
from maintenance.compute.hold_test import Basis, Hold, HoldError, HoldLimit, HoldVerdict, hold_result
from maintenance.compute.interval_review import (
    Ground,
    ReviewError,
    classical,
    control_chart,
    decrement,
    simple_response,
    staircase,
)
from maintenance.reference import gas_law, limit_sets

ZERO = Decimal("273.15")
BAR = Decimal("1.01325")
HELD = Hold(Decimal(10), Decimal("9.1"), BAR, Decimal(20), Decimal(20), Decimal(15))
RULE = HoldLimit(Decimal(10), Basis.GAUGE, None, Decimal(15))
SAMPLE = Sample(
    {"co": Decimal(8), "co2": Decimal(450), "oil": Decimal("0.3"), "water": Decimal(30)},
    None,
    Point.OUTLET,
    Decimal(200),
)
SETS = {one.limits.key: one.limits for one in limit_sets()}
TABLE = [
    ("O2", 100, 20, 0.9465, 6.935, 5121, -5.35),
    ("O2", 150, 20, 0.9362, 10.517, 7765, -6.38),
    ("O2", 200, 10, 0.9226, 14.732, 10877, -7.74),
    ("O2", 200, 20, 0.9391, 13.980, 10322, -6.09),
    ("O2", 200, 30, 0.9534, 13.316, 9832, -4.66),
    ("O2", 200, 40, 0.9659, 12.723, 9394, -3.41),
    ("O2", 250, 20, 0.9544, 17.194, 12696, -4.56),
    ("O2", 300, 10, 0.9658, 21.110, 15587, -3.42),
    ("O2", 300, 20, 0.9802, 20.090, 14834, -1.98),
    ("O2", 300, 40, 1.0048, 18.347, 13547, 0.48),
    ("AIR", 100, 20, 0.9881, 6.013, 4907, -1.19),
    ("AIR", 150, 20, 1.0010, 8.904, 7265, 0.10),
    ("AIR", 200, 10, 1.0161, 12.109, 9880, 1.61),
    ("AIR", 200, 20, 1.0260, 11.582, 9451, 2.60),
    ("AIR", 200, 30, 1.0347, 11.107, 9063, 3.47),
    ("AIR", 200, 40, 1.0422, 10.675, 8710, 4.22),
    ("AIR", 250, 20, 1.0613, 13.997, 11421, 6.13),
    ("AIR", 300, 10, 1.0976, 16.814, 13719, 9.76),
    ("AIR", 300, 20, 1.1043, 16.142, 13172, 10.43),
    ("AIR", 300, 40, 1.1153, 14.962, 12209, 11.53),
]


@pytest.mark.parametrize("row", TABLE)
def test_fifty_litres_of_gas(row: tuple[str, float, float, float, float, float, float]) -> None:
    """CoolProp 8.0.0, 50 L, absolute pressure: Z, kg, litres at 15 degC and 1 atm, and the ideal law's error."""
    gas, bar, celsius, z, mass, litres, ideal = row
    law = gas_law(gas)
    found = content_kg(law, 50, bar * 100, celsius)
    assert compressibility(law, bar * 100, celsius) == pytest.approx(z, abs=0.001)
    assert found == pytest.approx(mass, rel=0.001)
    assert 1000 * found / law.reference_density == pytest.approx(litres, rel=0.001)
    assert 100 * (ideal_kg(law, 50, bar * 100, celsius) / found - 1) == pytest.approx(ideal, abs=0.1)


@given(st.sampled_from(["O2", "AIR"]), st.floats(0, 30_000), st.floats(0, 30_000), st.floats(0, 50))
def test_content_falls_with_pressure(gas: str, one: float, other: float, celsius: float) -> None:
    law, (low, high) = gas_law(gas), sorted((one, other))
    assert content_kg(law, 50, low, celsius) <= content_kg(law, 50, high, celsius) + 1e-12
    assert usable_litres(law, 50, low, celsius) <= usable_litres(law, 50, high, celsius) + 1e-9


@pytest.mark.parametrize(("end", "say"), [("9.1", HoldVerdict.PASSED), ("8.7", HoldVerdict.FAILED)])
def test_a_hold_of_ten_bar_may_lose_a_tenth(end: str, say: HoldVerdict) -> None:
    """UFC 3-430-07: no more than 10 % in 15 min; 10.0 to 9.1 and to 8.7 bar gauge."""
    assert hold_result(replace(HELD, end=Decimal(end)), RULE, ZERO).verdict is say


def test_the_basis_of_the_percentage_decides() -> None:
    """10.0 to 8.9 bar: 11 % of gauge fails, 9.99 % of absolute passes; by hand with 1 atm."""
    hold = replace(HELD, end=Decimal("8.9"))
    assert hold_result(hold, RULE, ZERO).verdict is HoldVerdict.FAILED
    assert hold_result(hold, replace(RULE, basis=Basis.ABSOLUTE), ZERO).verdict is HoldVerdict.PASSED


def test_exactly_a_tenth_passes() -> None:
    assert hold_result(replace(HELD, end=Decimal("9.0")), RULE, ZERO).verdict is HoldVerdict.PASSED


def test_cooling_explains_most_of_a_drop() -> None:
    """By hand with the gas law: 73.4 psig at 25 degC to 72.0 at 22; corrected 72.88 psig, true drop 0.52 psi."""
    hold = Hold(Decimal("73.4"), Decimal("72.0"), Decimal("14.696"), Decimal(25), Decimal(22), Decimal(60))
    found = hold_result(hold, RULE, ZERO)
    assert found.drop == Decimal("1.4")
    assert float(found.corrected_end) == pytest.approx(72.88, abs=0.005)
    assert float(found.corrected_drop) == pytest.approx(0.52, abs=0.005)


def test_the_stricter_of_two_limits_counts() -> None:
    assert hold_result(HELD, replace(RULE, lowest_end=Decimal("9.5")), ZERO).verdict is HoldVerdict.FAILED
    assert hold_result(HELD, replace(RULE, percent=None, lowest_end=Decimal("9.1")), ZERO).verdict is HoldVerdict.PASSED


def test_a_short_hold_is_not_valid_unless_it_failed() -> None:
    assert hold_result(replace(HELD, minutes=Decimal(14)), RULE, ZERO).verdict is HoldVerdict.TOO_SHORT
    assert hold_result(replace(HELD, minutes=Decimal(14), end=Decimal(5)), RULE, ZERO).verdict is HoldVerdict.FAILED


def test_a_hold_without_limit_or_start_is_refused() -> None:
    with pytest.raises(HoldError, match="No limit"):
        hold_result(HELD, replace(RULE, percent=None), ZERO)
    with pytest.raises(HoldError, match="Start pressure 0"):
        hold_result(replace(HELD, start=Decimal(0)), RULE, ZERO)


def test_one_sample_passes_three_standards_and_fails_the_fourth() -> None:
    """The limits as published: CO 8, CO2 450, oil 0.3, water 30 at the compressor outlet."""
    assert {key: judge(SAMPLE, SETS[key]).measured.value for key in ("cfr_46", "cga_e", "norway", "en_12021")} == {
        "cfr_46": "pass",
        "cga_e": "pass",
        "norway": "pass",
        "en_12021": "fail",
    }
    assert set(judge(SAMPLE, SETS["en_12021"]).exceeded) == {"co", "water"}


def test_the_same_water_passes_in_a_cylinder_of_200_bar() -> None:
    """EN 12021:2014: 50 mg/m3 from 40 to 200 bar, 35 above, 25 at the compressor outlet."""
    for bar, water, exceeded in [(200, 30, False), (200, 51, True), (201, 36, True), (201, 35, False), (40, 50, False)]:
        sample = replace(SAMPLE, values={"water": Decimal(water)}, point=Point.CYLINDER, pressure_bar=Decimal(bar))
        assert ("water" in judge(sample, SETS["en_12021"]).exceeded) is exceeded


def test_a_point_without_a_limit_is_not_judged_and_is_no_pass() -> None:
    """EN 12021:2014 says nothing of water in a cylinder below 40 bar."""
    full = {"o2": Decimal(21), "co": Decimal(1), "co2": Decimal(400), "oil": Decimal(0), "water": Decimal(10)}
    sample = Sample(full, Odour.NONE, Point.CYLINDER, Decimal(39))
    found = judge(sample, SETS["en_12021"])
    assert found.not_limited_here == ("water",)
    assert found.verdict is SampleVerdict.INCOMPLETE


def test_a_missing_parameter_is_not_a_pass() -> None:
    found = judge(SAMPLE, SETS["cfr_46"])
    assert found.measured is SampleVerdict.PASSED
    assert found.verdict is SampleVerdict.INCOMPLETE
    assert found.missing == ("o2", "odour")


@pytest.mark.parametrize(
    ("odour", "passed"), [(Odour.NONE, {"norway", "cfr_29"}), (Odour.SLIGHT, {"cfr_29"}), (Odour.OBJECTIONABLE, set())]
)
def test_odour_is_judged_by_each_standards_word(odour: Odour, passed: set[str]) -> None:
    """Norway: none; 29 CFR 1910.430(b)(3): none objectionable."""
    sample = replace(SAMPLE, odour=odour)
    found = judge_all(sample, [SETS["norway"], SETS["cfr_29"]])
    assert {one.key for one in found if one.verdict is SampleVerdict.PASSED} == passed


def test_oxygen_exactly_at_its_purity_passes() -> None:
    """U.S. Navy: 99.5 % or more, CO2 at most 10 ppm, methane 50, nitrous oxide 4."""
    values = {"o2": Decimal("99.5"), "co2": Decimal(10), "methane": Decimal(50), "nitrous_oxide": Decimal(4)}
    sample = Sample(values, None, Point.CYLINDER, Decimal(150))
    assert judge(sample, SETS["navy_oxygen"]).verdict is SampleVerdict.PASSED
    less = replace(sample, values=values | {"o2": Decimal("99.4")})
    assert judge(less, SETS["navy_oxygen"]).verdict is SampleVerdict.FAILED


GOOD_SET = """
[x]
title = "X"
gas = "AIR"
odour = "none"
source = "s"
where = "w"
[[x.limit]]
parameter = "co"
high = "5"
unit = "ppm"
standing = "memory"
"""


def test_a_limit_from_memory_is_named() -> None:
    (found,) = parse_limit_sets(GOOD_SET, {"s": 0})
    assert found.from_memory == ("co",)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('title = "X"', "", "title missing"),
        ('source = "s"', 'source = "t"', "'t' is not in sources"),
        ('gas = "AIR"', 'gas = "HE"', "gas 'HE'"),
        ('odour = "none"', 'odour = "foul"', "foul"),
        ('high = "5"', "", "co without low or high"),
        ('high = "5"', 'high = "five"', "not known or missing"),
        ('unit = "ppm"', 'unit = ""', "co without unit"),
        ('standing = "memory"', 'standing = "hearsay"', "hearsay"),
    ],
)
def test_a_limit_that_nobody_could_check_is_refused(old: str, new: str, words: str) -> None:
    with pytest.raises(UnsourcedError, match=words):
        parse_limit_sets(GOOD_SET.replace(old, new), {"s": 0})


@pytest.mark.parametrize(("target", "b"), [(0.85, 0.417), (0.90, 0.576), (0.95, 0.836)])
def test_the_decrement_that_holds_a_target(target: float, b: float) -> None:
    """(1 + a)^R (1 - b)^(1 - R) = 1 with a = 0.1 (NCSLI RP-1, A1; formula from memory), worked by hand."""
    assert decrement(0.1, target) == pytest.approx(b, abs=0.0005)
    assert (1.1**target) * (1 - decrement(0.1, target)) ** (1 - target) == pytest.approx(1)


def test_a1_lengthens_a_little_and_shortens_much() -> None:
    assert simple_response(12, 0.1, 0.9, in_tolerance=True).months == pytest.approx(13.2)
    assert simple_response(12, 0.1, 0.9, in_tolerance=False).months == pytest.approx(12 * 0.424, abs=0.01)


def test_s1_keeps_an_interval_that_meets_its_target_and_says_nothing_of_all_or_none() -> None:
    """I ln R* / ln R: 12 months at 81 % for a target of 90 % gives 6; ln 0.9 / ln 0.81 is exactly a half."""
    assert classical(12, 81, 100, 0.9).months == pytest.approx(6)
    assert classical(12, 20, 20, 0.9) == replace(classical(12, 20, 20, 0.9), months=None, ground=Ground.ALL_GOOD)
    assert classical(12, 0, 20, 0.9).ground is Ground.NONE_GOOD
    with pytest.raises(ReviewError, match="21 of 20"):
        classical(12, 21, 20, 0.9)
    with pytest.raises(ReviewError, match="target 1"):
        decrement(0.1, 1)


@pytest.mark.parametrize(
    ("error", "months", "ground"),
    [
        ("0.08", 18, Ground.WELL_INSIDE),
        ("-0.09", 12, Ground.INSIDE),
        ("0.10", 12, Ground.INSIDE),
        ("0.11", 9, Ground.OUTSIDE),
    ],
)
def test_a_staircase_steps_by_the_last_error(error: str, months: float, ground: Ground) -> None:
    """ILAC-G24 / OIML D 10, method 1 (80 % from memory); limit 0.10."""
    found = staircase(
        Decimal(12), Decimal(error), Decimal("0.10"), [Decimal(6), Decimal(9), Decimal(12), Decimal(18)], Decimal("0.8")
    )
    assert (found.months, found.ground) == (months, ground)


def test_a_staircase_has_a_top_and_a_bottom() -> None:
    ladder = [Decimal(6), Decimal(12)]
    assert staircase(Decimal(12), Decimal(0), Decimal(1), ladder, Decimal("0.8")).months == 12
    assert staircase(Decimal(6), Decimal(2), Decimal(1), ladder, Decimal("0.8")).months == 6


def test_a_control_chart_cuts_to_whole_months() -> None:
    assert control_chart(46.9, 36, 2).months == 10
    assert control_chart(None, 36, 2).ground is Ground.NO_DRIFT
    assert control_chart(None, 36, 0).ground is Ground.TOO_FEW


@pytest.mark.parametrize(
    ("hours", "renewable"), [((24, 11, 120), False), ((24, 12, 100), True), ((23, 12, 100), False)]
)
def test_a_technologist_needs_all_three_kinds_of_hours(hours: tuple[int, int, int], renewable: bool) -> None:
    """Undersea and Hyperbaric Medical Society: 24 h in two years, 12 of category A, and 100 clinical hours."""
    law = RenewalLaw(2, Decimal(24), Decimal(12), Decimal(100))
    education, category_a, clinical = map(Decimal, hours)
    assert shortfall(education, category_a, clinical, law).renewable is renewable
