"""Worksheets as a whole against published worked values, and their readings of what is typed."""

from __future__ import annotations

from typing import Any

import pint
import pytest
from CoolProp import CoolProp

from facility.compute.worksheet import InputError
from facility.compute.worksheet_reading import run
from facility.worksheets.catalogue import worksheets


def work(name: str, **changed: Any) -> dict[str, Any]:
    sheet = worksheets()[name]
    return run(sheet, sheet.examples | changed)


@pytest.mark.parametrize(("unit", "value"), [("bar", 200), ("kPa", 20000), ("MPa", 20), ("psi", 2900), ("msw", 2000)])
@pytest.mark.parametrize(("gas", "fluid"), [("O2", "Oxygen"), ("AIR", "Air")])
def test_gas_in_any_unit_agrees_with_coolprop(unit: str, value: float, gas: str, fluid: str) -> None:
    """CoolProp for the density, pint for the unit; 1 msw is a tenth of a bar by definition."""
    registry: Any = pint.UnitRegistry()
    pascal = value * 10_000 if unit == "msw" else (value * registry(unit)).to("Pa").magnitude
    density = CoolProp.PropsSI("D", "P", pascal + 101_325, "T", 293.15, fluid)
    found = work("gas_content", gas=gas, pressure=value, pressure_unit=unit, minimum_pressure=None)
    assert found["mass"] == pytest.approx(0.05 * density, rel=0.001)


def test_one_filling_is_three_numbers_of_litres() -> None:
    """CoolProp 8.0.0: oxygen, 50 L, 200 bar absolute, 20 degC is 9783 L at 0, 10 322 at 15 and 10 502 at 20 degC."""
    found = work("gas_content", pressure_kind="absolute", minimum_pressure=None)
    assert found["litres_at_0"] == pytest.approx(9783, rel=0.001)
    assert found["litres_at_15"] == pytest.approx(10322, rel=0.001)
    assert found["litres_at_20"] == pytest.approx(10502, rel=0.001)
    assert found["ideal_error_percent"] == pytest.approx(-6.09, abs=0.1)


def test_a_calibration_recomputed_by_hand() -> None:
    """By hand with JCGM 100:2008 4.3.7 and JCGM 106:2012 eq. 11; class 1.6 of EN 837-1 on 10 bar."""
    found = work("gauge_calibration")
    assert found["verdict"] == "pass"
    assert (found["largest_error"], found["largest_error_at"], found["limit"]) == (0.11, 4, 0.16)
    assert found["largest_hysteresis"] == 0.06
    assert found["expanded_uncertainty"] == pytest.approx(0.0396, abs=0.00005)
    assert found["guarded_limit"] == pytest.approx(0.1204, abs=0.00005)
    assert found["conformance_probability"] == pytest.approx(0.9942, abs=0.00005)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"class_or_grade": "1.7"}, "class_or_grade: '1.7'.*1.6"),
        ({"limit_by": "ASME B40.100 grade"}, "class_or_grade: '1.6'.*3A"),
        ({"limit_by": "own limit"}, "own_limit: missing"),
        ({"scale_high": 0}, "scale_high: 0 .*more than scale_low"),
        ({"down": [1]}, "down: .*as many as reference"),
    ],
)
def test_a_calibration_that_cannot_be_judged_is_refused(changed: dict[str, Any], words: str) -> None:
    with pytest.raises(InputError, match=words):
        work("gauge_calibration", **changed)


def test_remarks_of_a_calibration_name_what_is_short() -> None:
    found = work("gauge_calibration", class_or_grade="0.6", down=None, scale_high=9)
    assert "6 points; this class asks for at least 10." in found["remarks"]
    assert "No readings coming down: hysteresis is not known." in found["remarks"]
    assert "Outside the scale: 10." in found["remarks"]


def test_grade_and_own_limit_are_taken_too() -> None:
    """ASME B40.100 grade A (from memory): 1 % of 10 bar in the middle; an own limit as typed."""
    assert work("gauge_calibration", limit_by="ASME B40.100 grade", class_or_grade="A")["limit"] == 0.1
    assert work("gauge_calibration", limit_by="own limit", own_limit="0.2")["limit"] == 0.2


def test_a_hold_test_says_what_the_temperature_did() -> None:
    """By hand with the gas law: 73.4 psig at 25 degC to 72.0 at 22 in an hour: 0.52 psi is left of 1.4."""
    found = work(
        "hold_test",
        unit="psi",
        start_pressure="73.4",
        end_pressure="72.0",
        atmospheric_pressure="14.696",
        minutes=60,
    )
    assert found["drop"] == 1.4
    assert found["corrected_drop"] == pytest.approx(0.52, abs=0.005)
    assert "0.519 psi" in found["remark"]
    assert "Held 5 min of 15 min." in work("hold_test", minutes=5)["remark"]


def test_a_hold_test_needs_a_limit_and_a_basis() -> None:
    with pytest.raises(InputError, match="percent_of: missing"):
        work("hold_test", percent_of=None)
    with pytest.raises(InputError, match="limit_percent: missing"):
        work("hold_test", limit_percent=None)
    with pytest.raises(InputError, match="start_pressure: -1"):
        work("hold_test", start_pressure=-1)


def test_the_end_gauge_of_the_guide() -> None:
    """JCGM 100:2008, H.1: u_c 32 nm, 16 degrees of freedom, k 2.92, U 93 nm (92.5 unrounded)."""
    found = work("uncertainty_budget")
    assert found["combined"] == pytest.approx(32, abs=0.5)
    assert found["degrees_of_freedom_used"] == 16
    assert found["coverage_factor"] == pytest.approx(2.92, abs=0.005)
    assert found["expanded"] == pytest.approx(92.5, abs=0.1)


def test_heads_of_water_and_oxygen() -> None:
    """Hydrostatics: 1.5 m of water 14.67 kPa; 2 m of oxygen at 200 bar absolute 5.46 kPa."""
    assert work("head_correction")["correction_kpa"] == pytest.approx(14.67, abs=0.01)
    oxygen = work("head_correction", fluid="O2", height=2, pressure_bar="198.98675")
    assert oxygen["correction_kpa"] == pytest.approx(5.46, abs=0.01)
    assert work("head_correction", fluid="other", density=1000, height=1)["density"] == 1000
    with pytest.raises(InputError, match="density: missing"):
        work("head_correction", fluid="other")
    with pytest.raises(InputError, match="pressure_bar: 400"):
        work("head_correction", fluid="O2", pressure_bar=400)


def test_an_analysis_with_a_gap_passes_nothing() -> None:
    found = work("air_limits", o2=None, odour=None, hydrocarbons=None)
    by_name = {row["standard"]: row for row in found["standards"]}
    assert by_name["46 CFR 197.340(i)"]["measured"] == "pass"
    assert by_name["46 CFR 197.340(i)"]["missing"] == ["o2", "odour"]
    assert by_name["EN 12021:2014"]["verdict"] == "fail"
    assert found["passed"] == []
    with pytest.raises(InputError, match="o2: missing"):
        run(worksheets()["air_limits"], {"gas": "AIR", "sampling_point": "cylinder", "pressure": 200})


def test_a_star_that_does_not_hold_gives_five_years() -> None:
    """49 CFR 180.209(b): otherwise back to five years; 5/3 of service pressure."""
    assert work("cylinder_requalification")["due_on"] == "2031-04-30"
    found = work("cylinder_requalification", hammer_tested=None)
    assert (found["due_on"], found["star_holds"]) == ("2026-04-30", False)
    assert found["star_faults"] == ["not hammer-tested before each filling"]
    assert found["test_pressure"] == 250
    with pytest.raises(InputError, match="made_on: missing"):
        work("cylinder_requalification", made_on=None)


def test_a_window_installed_before_it_was_made_is_refused() -> None:
    with pytest.raises(InputError, match="installed_on: 2018-01-01.*2018-06-15"):
        work("window_life", installed_on="2018-01-01")


@pytest.mark.parametrize("name", ["drift", "interval_review"])
def test_a_history_needs_one_error_for_each_time(name: str) -> None:
    with pytest.raises(InputError, match="as_found: '2 values'"):
        work(name, as_found=[0, 1])
    with pytest.raises(InputError, match="months: '2 calibrations'"):
        work(name, months=[3, 3], as_found=[0, 1])


def test_a_flat_history_has_no_crossing() -> None:
    found = work("drift", as_found=["0.1", "0.1", "0.1", "0.1"])
    assert found["crosses_limit_at"] is None
    assert found["crosses_with_uncertainty_at"] is None


def test_more_good_than_tested_is_refused() -> None:
    with pytest.raises(InputError, match="good: 21"):
        work("interval_review", good=21)


def test_two_gauges_at_two_percent_ask_for_nothing() -> None:
    """46 CFR 197.458(b): more than 2 % of full scale; 165 and 160, 165 and 159 of 250 fsw."""
    assert not work("two_gauges")["needs_test"]
    assert work("two_gauges", second=159)["needs_test"]


def test_two_clocks_with_a_constant_offset_ask_for_nothing() -> None:
    """46 CFR 197.458(c): a quarter of a minute in four hours; an offset that stays is no drift."""
    assert not work("two_clocks", apart_at_start=60, apart_at_end=75)["needs_test"]
    assert work("two_clocks", apart_at_start=60, apart_at_end=76)["needs_test"]


def test_more_hours_of_category_a_than_of_education_are_refused() -> None:
    assert not work("certificate_renewal")["renewable"]
    assert work("certificate_renewal", category_a=12, clinical=100)["renewable"]
    with pytest.raises(InputError, match="category_a: 25"):
        work("certificate_renewal", category_a=25)


def test_counts_and_chances() -> None:
    """NIST/SEMATECH 8.4.5.1: 800 h, 2 failures, 90 %: 127 to 2251 h; Poisson 95 %: mean 1 needs 3; 0.936; 0.0216."""
    found = work("mtbf")
    assert found["lower_bound"] == pytest.approx(127, abs=0.5)
    assert found["upper_bound"] == pytest.approx(2251, abs=0.5)
    assert work("spares")["spares"] == 3
    assert work("in_date_chance")["all_in_date"] == pytest.approx(0.936, abs=0.0005)
    assert work("hidden_failure")["unavailability"] == pytest.approx(0.0216, abs=0.00005)


def test_conformance_of_the_guide() -> None:
    """JCGM 106:2012, clause 7: 12.5 to 16.3, measured 13.6, u 1.8: 0.66; limits on one side 0.92 and 0.99."""
    assert work("conformance")["probability"] == pytest.approx(0.66, abs=0.005)
    one = work("conformance", low=None, high="-5.40", measured="-5.47", standard_uncertainty="0.05")
    assert one["probability"] == pytest.approx(0.92, abs=0.005)
    other = work("conformance", low=490, high=None, measured="509.7", standard_uncertainty="8.6")
    assert other["probability"] == pytest.approx(0.99, abs=0.005)
    with pytest.raises(InputError, match="low: missing"):
        work("conformance", low=None, high=None)
    with pytest.raises(InputError, match="high: 1 "):
        work("conformance", high=1)
