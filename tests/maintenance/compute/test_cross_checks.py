"""Comparisons that no eye makes; what they should find comes from published accounts and from plain arithmetic."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from facility.reference import load
from maintenance.compute.cross_checks import (
    CrossCheckError,
    compare,
    falls_unused,
    goes_back,
    older_than_instrument,
    same_values,
    used_between,
)
from maintenance.compute.gas_identity import Bounds, Says, against_label
from maintenance.reference import FOLDER, limit_sets

BEGIN = datetime(2026, 3, 1, 20, 0, tzinfo=UTC)


def daily(*values: str) -> list[tuple[datetime, Decimal]]:
    """Return one reading a day."""
    return [(BEGIN + timedelta(days=day), Decimal(value)) for day, value in enumerate(values)]


def test_a_gauge_that_does_not_move_for_a_week_is_found() -> None:
    """IMCA safety flash 27/23: a fixed gauge was read 92 times by 21 people and nobody saw the difference."""
    (found,) = same_values(daily("151", "148", *["148"] * 6, "140"), 7)
    assert (found.value, found.readings, found.days) == (Decimal(148), 7, 7)
    assert found.first_at == BEGIN + timedelta(days=1)


def test_two_readings_on_one_day_are_one_day() -> None:
    twice = [(BEGIN + timedelta(hours=hours), Decimal(148)) for hours in (0, 1, 2, 24)]
    assert same_values(twice, 3) == ()
    assert same_values(twice, 2)[0].days == 2


def test_the_step_of_the_gauge_is_considered() -> None:
    """By hand: a gauge read to 5 bar cannot tell 150 from 152."""
    readings = daily("150", "152", "148", "150")
    assert same_values(readings, 3) == ()
    assert same_values(readings, 3, resolution=Decimal(5))[0].days == 4
    with pytest.raises(CrossCheckError, match="at least 2"):
        same_values(readings, 1)


@given(st.floats(1, 1e6), st.floats(0, 100))
def test_a_difference_exactly_at_the_limit_is_within(expected: float, percent: float) -> None:
    """ "More than" does not include the limit; common practice, no source."""
    at_limit = compare(expected, expected + expected * percent / 100, percent, least=expected * percent / 100 * 1.001)
    assert not at_limit.over
    assert not compare(expected, expected, percent).over


def test_a_run_that_drew_half_of_what_was_expected_is_found() -> None:
    """By hand: expected 20 000 L, drawn 10 000 L: 50 %, limit 25 %, that is 5 000 L."""
    found = compare(20_000, 10_000, 25)
    assert (found.difference, found.limit, found.over) == (-10_000, 5_000, True)
    with pytest.raises(CrossCheckError, match="must be a number"):
        compare(float("nan"), 1, 1)


def test_content_that_falls_without_a_run_is_found_and_with_one_it_is_not() -> None:
    """By hand: 100 to 90 is 10 %."""
    points = [(BEGIN, 100.0), (BEGIN + timedelta(days=1), 90.0), (BEGIN + timedelta(days=2), 89.0)]
    (found,) = falls_unused(points, [], 5)
    assert (found.before, found.after, found.percent) == (100, 90, 10)
    run = (BEGIN + timedelta(hours=3), BEGIN + timedelta(hours=8))
    assert falls_unused(points, [run], 5) == ()


def test_the_gas_of_a_run_lies_between_the_last_reading_before_and_the_first_after() -> None:
    points = [(BEGIN + timedelta(days=day), 100.0 - day) for day in range(4)]
    run = (BEGIN + timedelta(days=1, hours=3), BEGIN + timedelta(days=1, hours=8))
    assert used_between(points, *run) == (points[1], points[2])
    assert used_between(points, BEGIN + timedelta(days=5), BEGIN + timedelta(days=6)) is None


def test_a_certificate_from_before_the_instrument_was_there_is_found() -> None:
    """By hand: 1 March 2019 to 1 June 2021 are 823 days."""
    assert older_than_instrument(date(2019, 3, 1), date(2021, 6, 1), 365) == 823
    assert older_than_instrument(date(2021, 3, 1), date(2021, 6, 1), 365) is None
    assert older_than_instrument(date(2019, 3, 1), None, 365) is None


def test_time_that_goes_backwards_is_found() -> None:
    assert goes_back(BEGIN, BEGIN - timedelta(minutes=10), 300) == 600
    assert goes_back(BEGIN, BEGIN - timedelta(minutes=4), 300) is None


@pytest.mark.parametrize(
    ("label", "percent", "says"),
    [
        ("O2", "20.9", Says.OTHER_GAS), ("O2", "99.6", Says.AGREES), ("O2", "93", Says.AGREES),
        ("O2", "60", Says.NEITHER), ("AIR", "20.9", Says.AGREES), ("AIR", "99.5", Says.OTHER_GAS),
        ("AIR", "22", Says.AGREES), ("AIR", "22.1", Says.NEITHER),
    ],
)  # fmt: skip
def test_the_label_proves_nothing(label: str, percent: str, says: Says) -> None:
    """Dry air has 20.95 % oxygen (US Standard Atmosphere 1976, from memory); breathing air 20 to 22 % by
    46 CFR 197.340(i); oxygen from concentrators 93 % (pharmacopoeia, from memory)."""
    table = load(FOLDER / "gas_identity.toml")
    bounds = Bounds(table["air.low"].number, table["air.high"].number, table["oxygen.low"].number)
    assert against_label(label, Decimal(percent), bounds) is says


def test_each_limit_set_has_a_number_of_its_own_that_never_changes() -> None:
    """A site's house rule names the set by it."""
    assert {one.limits.key: one.number for one in limit_sets()} == {
        "en_12021": 1, "norway": 2, "cfr_46": 3, "cfr_29": 4, "cga_e": 5,
        "navy_oxygen": 6, "ep_oxygen": 7, "usp_oxygen": 8,
    }  # fmt: skip
