"""Rules of items imported as adopted from a clause of the app's book."""

from __future__ import annotations

import pytest

from maintenance.models import IntervalRule, Standing
from maintenance.upkeep.adopting import deviations
from tests.imports.support import changed, run

pytestmark = pytest.mark.django_db

HEADER = "tag,act,"
LINE = "G2,calibration,6"


def with_clause(key: str, months: str = "6") -> dict[str, bytes]:
    """Return the small facility with its gauge's rule adopted from a clause."""
    files = changed("intervals.csv", HEADER, "clause,house_reason,tag,act,")
    lines = files["intervals.csv"].decode().splitlines()
    header, body = lines[0], [f",,{line}" for line in lines[1:]]
    body = [line.replace("yes,46 CFR 197.458,retrieved,2025-11", "yes,,,2025-11") for line in body]
    told = [line.replace(f",,{LINE}", f"{key},walked upon,G2,calibration,{months}") for line in body]
    return files | {"intervals.csv": "\n".join([header, *told, ""]).encode()}


def test_a_rule_named_by_its_clause_takes_source_and_standing_from_the_book() -> None:
    """46 CFR 197.458: depth gauges every six months, as the book's source file names it."""
    report = run(with_clause("I1"))
    assert not report.problems, report.as_text()
    row = IntervalRule.objects.get(equipment__tag="G2", name="calibration")
    assert row.requirement == "I1"
    assert row.source.startswith("United States, 46 CFR part 197")
    assert row.source.endswith("197.458")
    assert row.standing == Standing.RETRIEVED
    assert row.evidence_asked
    assert deviations(row) == []


def test_another_interval_than_the_clauses_is_a_deviation_with_its_reason() -> None:
    run(with_clause("I1", months="3"))
    row = IntervalRule.objects.get(equipment__tag="G2", name="calibration")
    assert [(one.code, one.house) for one in deviations(row)] == [("6", "3")]
    assert row.house_reason == "walked upon"


@pytest.mark.parametrize("key", ["I99", "P7"])
def test_what_is_no_clause_of_an_item_is_refused_with_those_there_are(key: str) -> None:
    """P7 is a look before each run: it stands on a check sheet, no item falls due by it."""
    problem = run(with_clause(key)).problems[0]
    assert (problem.file, problem.column, problem.value) == ("intervals.csv", "clause", key)
    assert "I1" in problem.allowed
    assert "P7" not in problem.allowed.split(", ")
