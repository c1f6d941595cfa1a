"""The worksheet of a plan's demand: the handbook's figures, and what it does not take."""

from __future__ import annotations

from typing import Any

import pytest

from facility.compute.worksheet import InputError
from facility.compute.worksheet_reading import run
from treatments.worksheets.plan import PLAN_DEMAND


def answer(**given: Any) -> dict[str, Any]:
    """Run the worksheet on a plain table 6 of one patient and one tender, changed."""
    plain = {"extensions_at_60": 0, "extensions_at_30": 0}
    return dict(run(PLAN_DEMAND, PLAN_DEMAND.examples | plain | given))


def test_a_plain_table_six_has_the_figures_of_the_handbook() -> None:
    """288 min; 153.8 and 30.3 scf; 8 267.7 scf of ventilation: calculated apart from this program, p. 21-26, 22-16."""
    found = answer()
    assert (found["table_minutes"], found["longest_run"], found["tender_minutes"]) == (288, 288, 60)
    assert found["patient_scf"] == pytest.approx(153.8, abs=0.1)
    assert found["tender_scf"] == pytest.approx(30.3, abs=0.1)
    assert found["ventilation_scf"] == pytest.approx(8267.7, abs=0.1)
    # hand sum: (300 + 2 x 125 + 6 x 2) x 60 / 33
    assert found["filling_scf"] == pytest.approx(1021.82, abs=0.01)
    assert found["remarks"] == []


def test_what_is_not_stated_is_null_and_said() -> None:
    found = answer(table="OX-2.4")
    assert (found["tender_scf"], found["oxygen_litres"], found["oxygen_reserve_litres"]) == (None, None, None)
    assert "not stated" in found["remarks"][0]


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"extensions_at_60": 3}, "extensions_at_60: 3 is not taken. Allowed: 0 to 2"),
        ({"outer_lock": 0}, "outer_lock_fills: 2 is not taken. Allowed: 0; the chamber has no outer lock"),
        ({"tender_oxygen": 30}, "tender_oxygen: .*30 min.* is not taken. Allowed: 60 min or more"),
        ({"patients": 0, "tenders": 0}, "patients: 0 is not taken. Allowed: at least one person inside"),
    ],
)
def test_what_nobody_can_plan_with_names_the_input(given: dict[str, Any], says: str) -> None:
    with pytest.raises(InputError, match=says):
        answer(**given)
