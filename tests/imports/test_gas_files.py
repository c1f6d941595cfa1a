"""Supplies of gas, test days of cylinders and the analyser of an analysis, from files."""

from __future__ import annotations

from datetime import date

import pytest

from maintenance.models import Cylinder, CylinderAnalysis, Supply
from tests.imports.support import facility, only_problem, run

pytestmark = pytest.mark.django_db
SUPPLIES = "gas,supplier,lead_days,weekdays,litres_each\nO2,Bergvik Gass,9,5 2,10600\nAIR,Bergvik Gass,12,,\n"


def with_file(name: str, text: str) -> dict[str, bytes]:
    """Return the small facility with one file more, or another text of one."""
    return facility() | {name: text.encode()}


def test_a_supply_is_taken_in_with_its_delivery_days_and_a_second_time_changes_nothing() -> None:
    assert run(with_file("supplies.csv", SUPPLIES)).taken
    assert list(Supply.objects.order_by("gas").values_list("gas", "weekdays")) == [("AIR", []), ("O2", [2, 5])]
    assert run(with_file("supplies.csv", SUPPLIES)).taken
    assert set(Supply.objects.values_list("row_version", flat=True)) == {1}


@pytest.mark.parametrize(
    ("old", "new", "column", "words"),
    [
        ("5 2", "0 2", "weekdays", "holds a day that is none"), ("5 2", "fri", "weekdays", "holds a day that is none"),
        (",9,", ",nine,", "lead_days", "is not such a whole number"), ("O2,Berg", "HE,Berg", "gas", "is not one of"),
    ],
)  # fmt: skip
def test_a_supply_that_cannot_be_is_refused_by_its_cell(old: str, new: str, column: str, words: str) -> None:
    problem = only_problem(run(with_file("supplies.csv", SUPPLIES.replace(old, new))))
    assert (problem.file, problem.line, problem.column) == ("supplies.csv", 2, column)
    assert words in problem.what
    assert not Supply.objects.exists()


def cylinders(days: str) -> dict[str, bytes]:
    """Return the small facility with test days on its first cylinder."""
    lines = facility()["cylinders.csv"].decode().splitlines()
    wider = [f"{lines[0]},tested_on,test_due_on", f"{lines[1]},{days}", *(f"{line},," for line in lines[2:])]
    return with_file("cylinders.csv", "\n".join(wider))


def test_test_days_of_a_cylinder_come_off_its_shoulder() -> None:
    assert run(cylinders("02/28/2021,02/28/2026")).taken
    assert Cylinder.objects.get(tested_on__isnull=False).test_due_on == date(2026, 2, 28)


def test_a_next_test_before_the_last_is_refused() -> None:
    problem = run(cylinders("02/28/2021,02/28/2020")).problems[0]
    assert (problem.file, problem.line, problem.column) == ("cylinders.csv", 2, "test_due_on")
    assert "before the last test" in problem.what


def test_an_analysis_names_its_analyser_by_its_tag() -> None:
    lines = facility()["analyses.csv"].decode().splitlines()
    named = [f"{lines[0]},analyser", f"{lines[1]},G1", *(f"{line}," for line in lines[2:])]
    assert run(with_file("analyses.csv", "\n".join(named))).taken
    found = CylinderAnalysis.objects.get(analyser__isnull=False).analyser
    assert found is not None
    assert found.tag == "G1"
