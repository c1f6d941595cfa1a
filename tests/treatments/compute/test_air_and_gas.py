"""Ventilation, valves, carbon dioxide, temperature and gas demand against the handbook's printed examples.

Handbook: U.S. Navy Diving Manual, revision 4 with change A. Where a figure is not printed it was calculated
apart from this program, by hand or with scipy.
"""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from tests.treatments.compute.asking import planned
from treatments.compute.atmosphere import AtmosphereError, carbon_dioxide, fahrenheit, partial_pressure, stay
from treatments.compute.demand import (
    DemandError,
    Flask,
    air_supply,
    consumption,
    flasks_needed,
    held,
    oxygen_ata_minutes,
    pressure_needed,
)
from treatments.compute.profile import Choices, depth_at, gas_at, profile
from treatments.compute.run_air import Inside, stretches
from treatments.compute.ventilation import (
    People,
    Stretch,
    VentilationError,
    after_stop,
    air_used,
    asked,
    scfm,
    valve_seconds,
)
from treatments.reference import table
from treatments.reference.laws import air_rule, atmosphere, bands, interruption, rates

ATM = atmosphere()


@pytest.mark.parametrize(
    ("depth", "people", "dump", "acfm", "at_surface"),
    [
        (60, People(mask_rest=1, air_working=1), False, 12.5, 35.23),
        (60, People(mask_rest=2, air_working=1), False, 25, 70.45),
        (60, People(air_rest=1, air_working=1), False, 6, 16.91),
        (60, People(mask_rest=1, air_working=1), True, 6, 16.91),
        (30, People(mask_rest=1, mask_working=1), False, 37.5, 71.59),
    ],
)
def test_ventilation_of_the_handy_rates(
    depth: float, people: People, dump: bool, acfm: float, at_surface: float
) -> None:
    """Rates p. 22-16 and 22-17: only the people on oxygen count where exhaled oxygen stays inside."""
    found = asked(people, rates(), dump=dump)
    assert found.acfm == acfm
    assert scfm(acfm, depth, ATM.fsw) == pytest.approx(at_surface, abs=0.005)


def test_one_on_oxygen_in_a_large_party_shows_the_air_rates_beside_it() -> None:
    found = asked(People(air_working=5, mask_rest=1), rates(), dump=False)
    assert (found.acfm, found.air_rates_acfm, found.below_air_rates) == (12.5, 22, True)


def test_a_stop_of_four_minutes_is_made_good_at_twice_the_rate() -> None:
    """p. 22-16: 12.5 acfm at 60 fsw, then 25 acfm (70.45 scfm) for 4 min."""
    after = after_stop(12.5, 4, interruption())
    assert (after.allowed, after.acfm, after.minutes) == (True, 25, 4)


def test_a_stop_longer_than_five_minutes_is_not_stated() -> None:
    assert after_stop(12.5, 5, interruption()).allowed
    after = after_stop(12.5, 5.1, interruption())
    assert (after.allowed, after.acfm, after.minutes) == (False, None, None)
    with pytest.raises(VentilationError, match="stopped: -1 min is not taken"):
        after_stop(12.5, -1, interruption())
    with pytest.raises(VentilationError, match="mask_rest: -1 is not taken"):
        People(mask_rest=-1)


@pytest.mark.parametrize(
    ("volume", "acfm", "depth", "seconds"), [(425, 6, 165, 215), (425, 12.5, 60, 219.4), (202, 25, 30, 77.0)]
)
def test_valve_timing(volume: float, acfm: float, depth: float, seconds: float) -> None:
    """The first is printed, p. 22-17: 425 cf, 6 acfm, 170 to 160 fsw, 215 s."""
    assert valve_seconds(volume, acfm, depth, 10, ATM.fsw) == pytest.approx(seconds, abs=0.5)


def test_ventilation_air_of_a_whole_table_six() -> None:
    """Calculated apart from this program: 8 267.7 scf without a dump."""
    inside = Inside(patients=1, tenders=1, tender_oxygen_min=60)
    found = stretches(planned("TT6"), inside, rates(), dump=False)
    assert air_used(found, ATM.fsw) == pytest.approx(8267.7, abs=0.1)


def test_ventilation_air_of_a_run_agrees_with_scipy() -> None:
    """Half an hour into the ramp the tender's oxygen begins: the stretch is cut there."""
    run = planned("TT6")
    inside = Inside(patients=2, tenders=1, tender_oxygen_min=15)
    found = stretches(run, inside, rates(), dump=False)

    def flow(minute: float) -> float:
        masked = 2 * (gas_at(run, minute) == "O2") + (minute >= 273)
        acfm = 12.5 * masked if masked else 2 * 2 + 4
        return acfm * (depth_at(run, minute) + 33) / 33

    edges = [3.0, *run.ends[1:-1], 273.0, 288.0]
    expected = sum(quad(flow, a + 1e-9, b - 1e-9)[0] for a, b in pairwise(edges))
    assert air_used(found, ATM.fsw) == pytest.approx(expected, rel=1e-6)
    with pytest.raises(VentilationError, match="tenders' oxygen: 300 min is not taken. Allowed: 0 to 285"):
        stretches(run, Inside(1, 1, 300), rates(), dump=False)


def test_ventilation_air_at_a_flat_six_acfm() -> None:
    """Calculated apart from this program: 3 673.6 scf, the tender taken as working throughout."""
    flat = [Stretch(one.start_fsw, one.end_fsw, one.minutes, 6) for one in planned("TT6").segments[1:]]
    assert air_used(flat, ATM.fsw) == pytest.approx(3673.6, abs=0.1)


@pytest.mark.parametrize(
    ("reading", "depth", "sev", "mmhg", "within"),
    [(0.60, 60, 1.691, 12.85, False), (0.53, 60, 1.494, 11.35, True), (0.60, 45, 1.418, 10.78, True)],
)
def test_carbon_dioxide_as_surface_equivalent(
    reading: float, depth: float, sev: float, mmhg: float, within: bool
) -> None:
    """Limit 1.5 % SEV = 11.4 mmHg, p. 22-16."""
    found = carbon_dioxide(reading, depth, 1.5, 33, 760)
    assert found.sev_percent == pytest.approx(sev, abs=0.0005)
    assert found.mmhg == pytest.approx(mmhg, abs=0.01)
    assert found.within is within


@pytest.mark.parametrize(("depth", "allowed"), [(0, 1.50), (30, 0.786), (45, 0.635), (60, 0.532), (165, 0.250)])
def test_reading_of_carbon_dioxide_allowed_at_a_depth(depth: float, allowed: float) -> None:
    """The handbook prints 0.78, 0.53 and 0.25, cut and not rounded (from memory)."""
    assert carbon_dioxide(0, depth, 1.5, 33, 760).allowed_reading_percent == pytest.approx(allowed, abs=0.0005)


def test_a_reading_that_cannot_be_is_refused() -> None:
    with pytest.raises(AtmosphereError, match="reading: 101 % is not taken"):
        carbon_dioxide(101, 0, 1.5, 33, 760)
    with pytest.raises(AtmosphereError, match="fraction: 1.1 is not taken"):
        partial_pressure(1.1, 0, 33, 1)


@pytest.mark.parametrize(
    ("fraction", "depth", "expected"),
    [
        (1, 60, 2.8182),
        (1, 45, 2.364),
        (1, 30, 1.909),
        (1, 0, 1),
        (0.21, 60, 0.5918),
        (0.21, 165, 1.260),
        (0.25, 60, 0.705),
    ],
)
def test_oxygen_pressure(fraction: float, depth: float, expected: float) -> None:
    """33 fsw = 1 ata; 100 % oxygen at 60 fsw gives about 2.8 ata (common practice, no source)."""
    assert partial_pressure(fraction, depth, 33, 1) == pytest.approx(expected, abs=0.0005)


@pytest.mark.parametrize(
    ("key", "extensions", "listed", "within"),
    [
        ("TT4", {}, False, False),
        ("TT6", {}, True, True),
        ("TT6", {30: 1}, True, False),
        ("TT6", {60: 2, 30: 2}, True, False),
        ("TT1A", {}, True, False),
        ("TT5", {}, True, True),
        ("OX-2.4", {}, None, True),
    ],
)
def test_tables_at_87_degrees(key: str, extensions: dict[float, int], listed: bool | None, within: bool) -> None:
    """Table 21-4: 85 to 94 degF names 5, 6, 6A, 1A and 9 and a stay of 6 h; table 6 + 1 at 30 lasts 363 min."""
    run = profile(table(key), Choices(extensions))
    found = stay(key, run.run_minutes, fahrenheit(30.5), bands())
    assert (found.listed, found.within, found.longest_min) == (listed, within, 360)


@pytest.mark.parametrize(
    ("inside", "longest"),
    [(84.9, None), (85, 360), (94, 360), (94.5, 120), (95, 120), (104, 120), (104.5, 0)],
)
def test_a_temperature_between_two_bands_belongs_to_the_hotter(inside: float, longest: float | None) -> None:
    assert stay("TT5", 138, inside, bands()).longest_min == longest


def test_table_five_is_listed_for_the_two_hour_band_but_lasts_longer() -> None:
    found = stay("TT5", planned("TT5").run_minutes, 100, bands())
    assert (found.listed, found.within) == (True, False)
    assert (stay("TT9", 104.5, 100, bands()).listed, stay("TT9", 104.5, 100, bands()).within) == (True, True)


#: integral of ata over the minutes on oxygen, calculated apart from this program; scf at 0.3 acfm to 0.1
@pytest.mark.parametrize(
    ("key", "extensions", "ata_minutes"),
    [
        ("TT5", {}, 265.45),
        ("TT5", {30: 2}, 341.82),
        ("TT6", {}, 512.73),
        ("TT6A", {}, 512.73),
        ("TT6", {60: 2, 30: 2}, 854.55),
        ("TT9", {}, 216.51),
        ("OX-2.0", {}, 180),
        ("OX-2.4", {}, 216),
        ("OX-2.5", {}, 225),
    ],
)
def test_oxygen_breathed_on_a_table(key: str, extensions: dict[float, int], ata_minutes: float) -> None:
    run = planned(key, extensions)
    assert oxygen_ata_minutes(run.segments, ATM) == pytest.approx(ata_minutes, abs=0.005)
    total = 0.0
    for one in run.segments:
        if one.gas == "O2":
            rise = (one.end_fsw - one.start_fsw) / one.minutes
            total += quad(lambda t, a=one.start_fsw, b=rise: 1 + (a + b * t) / 33, 0, one.minutes)[0]
    assert total == pytest.approx(ata_minutes, abs=0.005)


def test_gas_at_a_mean_depth() -> None:
    """Printed example: 95 fsw, 1.4 acfm, 7 min: 38.01 scf."""
    assert consumption(95, 1.4, 7, ATM) == pytest.approx(38.01, abs=0.005)


def test_air_supply_of_two_locks_and_its_flasks() -> None:
    """22-4: primary 5 Vil + 10 Vol + 45 390, secondary 5 Vil + 5 Vol + 4 224; flasks of 8 cf, 3 000 to 220 psig."""
    flask = Flask(8.0, 3000, 220)
    primary, secondary = (air_supply(300, 125, air_rule(name), ATM) for name in ("primary", "secondary"))
    assert (primary, secondary) == (48140, 6349)
    assert held(flask, ATM) == pytest.approx(1512.93, abs=0.005)
    assert (flasks_needed(primary, flask, ATM), flasks_needed(secondary, flask, ATM)) == (32, 5)


def test_pressure_in_one_cylinder() -> None:
    """Printed example p. 8-3: 66.39 scf, 0.399 cf, 135 psig: 2 580.95, rounded up to 2 600."""
    assert pressure_needed(66.39, 0.399, 135, ATM) == pytest.approx(2580.95, abs=0.01)


def test_a_flask_that_gives_nothing_is_refused() -> None:
    with pytest.raises(DemandError, match="pressure: 200 psig is not taken.*more than the lowest pressure, 220"):
        Flask(8, 200, 220)
    with pytest.raises(DemandError, match="floodable volume: 0 cf"):
        Flask(0, 3000, 220)
    with pytest.raises(DemandError, match="volume: -1 scf"):
        flasks_needed(-1, Flask(8, 3000, 220), ATM)


@given(st.floats(0, 100_000), st.floats(0.1, 50), st.floats(100, 4000))
def test_the_flasks_needed_hold_the_volume_and_one_less_does_not(volume: float, size: float, full: float) -> None:
    flask = Flask(size, full, 50)
    count = flasks_needed(volume, flask, ATM)
    assert count * held(flask, ATM) >= volume * (1 - 1e-12)
    assert count == 0 or (count - 1) * held(flask, ATM) < volume


def test_a_valve_is_not_timed_for_nothing() -> None:
    with pytest.raises(VentilationError, match="volume 0 cf, rate 6 acfm: both must be more than 0"):
        valve_seconds(0, 6, 165, 10, 33)
