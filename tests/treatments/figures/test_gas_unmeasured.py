"""Gas drawn where a temperature was not measured: readings of a check, and pressures in the log of a run.

Expected litres are of CoolProp's reference equation of state for oxygen, at 15 degC and 1 atm.
"""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import pytest

from tests.treatments.figures.story import LEFT, entry
from tests.treatments.figures.test_gas_and_air import breathing_from, litres_by_coolprop, read, ten_minutes_at_60
from tests.walk.walking import checked
from treatments.after.kept import kept_of
from treatments.figures.state import figures_of
from treatments.figures.sums import sums_of

if TYPE_CHECKING:
    from treatments.models import Run

pytestmark = pytest.mark.django_db
WATER = 500.0
#: the fit to CoolProp is good to 0.0006 of some 75 000 L, twice
FIT_L = 90


def drawn(run: Run) -> tuple[float, float, float, float]:
    """Return the figure, its span, and the temperature taken."""
    (bank,) = figures_of(run, LEFT + timedelta(minutes=15)).gas[0].banks
    assert bank.used_litres is not None
    assert bank.unmeasured is not None
    return bank.used_litres, bank.unmeasured.low_litres, bank.unmeasured.high_litres, bank.unmeasured.taken_c


def test_a_check_before_and_a_thermometer_after_are_reckoned_at_one_temperature() -> None:
    """Full at 150 bar, 148.5 bar after, at 5 degC: 15 degC before and 5 degC after would make the bank fuller than before."""
    run, bank, _cylinders = breathing_from(str(WATER))
    ten_minutes_at_60(run)
    assert checked(bank, LEFT - timedelta(hours=1), "150").measured_c is None
    read(bank, LEFT + timedelta(minutes=14), "148.5", "5")
    litres, low, high, taken = drawn(run)
    assert litres_by_coolprop(WATER, 150, 15) - litres_by_coolprop(WATER, 148.5, 5) < -FIT_L
    assert taken == 5
    assert litres == pytest.approx(litres_by_coolprop(WATER, 150, 5) - litres_by_coolprop(WATER, 148.5, 5), abs=FIT_L)
    assert low < litres < high
    for warmer, end in ((-5, low), (5, high)):
        expected = litres_by_coolprop(WATER, 150, 5) - litres_by_coolprop(WATER, 148.5, 5 + warmer)
        assert end == pytest.approx(expected, abs=FIT_L)


def test_where_neither_has_a_temperature_the_nearest_measured_one_is_taken() -> None:
    run, bank, _cylinders = breathing_from(str(WATER))
    ten_minutes_at_60(run)
    read(bank, LEFT - timedelta(hours=20), "150.2", "24")
    checked(bank, LEFT - timedelta(hours=1), "150")
    checked(bank, LEFT + timedelta(minutes=14), "145")
    litres, _low, _high, taken = drawn(run)
    assert taken == 24
    assert litres == pytest.approx(litres_by_coolprop(WATER, 150, 24) - litres_by_coolprop(WATER, 145, 24), abs=FIT_L)


def test_where_nobody_ever_measured_one_it_is_15_degrees_and_says_so() -> None:
    run, bank, _cylinders = breathing_from(str(WATER))
    ten_minutes_at_60(run)
    checked(bank, LEFT - timedelta(hours=1), "150")
    checked(bank, LEFT + timedelta(minutes=14), "145")
    found = figures_of(run, LEFT + timedelta(minutes=15))
    (gas,) = [one for one in sums_of(found) if one.key == "gas"]
    assert any("temperature not measured: taken as 15 °C" in one for one in gas.remarks)
    (bank_row,) = gas.grids[1].rows
    assert bank_row[2] == "150 bar, temperature not measured"
    assert bank_row[-1].startswith("about ")
    assert " to " in bank_row[-1]
    assert " to " in gas.grids[0].rows[0][-1]


def test_a_pressure_in_the_log_is_told_as_not_measured_and_takes_the_temperature_of_the_reading() -> None:
    run, bank, _cylinders = breathing_from(str(WATER))
    ten_minutes_at_60(run)
    read(bank, LEFT - timedelta(days=2), "160", "30")
    read(bank, LEFT - timedelta(hours=1), "150", "10")
    entry(run, 10, "reading", values={"bank_pressure": "145", "bank_unit": "bar"})
    litres, _low, _high, taken = drawn(run)
    assert taken == 10
    assert litres == pytest.approx(litres_by_coolprop(WATER, 150, 10) - litres_by_coolprop(WATER, 145, 10), abs=FIT_L)


def test_what_was_measured_has_no_span_and_a_closed_record_of_it_keeps_its_words() -> None:
    run, bank, _cylinders = breathing_from(str(WATER))
    ten_minutes_at_60(run)
    read(bank, LEFT - timedelta(hours=1), "150", "15")
    read(bank, LEFT + timedelta(minutes=14), "148", "15")
    oxygen = kept_of(figures_of(run, LEFT + timedelta(minutes=15)))["gas"][0]
    assert "unmeasured" not in oxygen
    assert "unmeasured" not in oxygen["banks"][0]
