"""What gathering is held against in the bench are the rows that it gathers."""

from __future__ import annotations

import json
from collections import Counter

import pytest

from facility import house
from facility.gathered import Row
from facility.project.bench import floor
from facility.project.bench.scratch import AT, Size, facilities
from facility.readiness.gather import fetch_rows, scope_of

SAME_NAME = (
    "site",
    "equipment",
    "defect",
    "opening",
    "bank",
    "plan",
    "need",
    "waiver",
    "run",
    "person",
    "duty",
    "sheet",
)


@pytest.mark.django_db
def test_the_floor_fetches_as_many_rows_of_each_kind_as_are_gathered() -> None:
    chambers = facilities(3, Size(items=7, people=4, plans=2, needs=5, months=2))
    scope = scope_of(chambers, AT, house.values_of([chamber.site_id for chamber in chambers]))
    flat = Counter({kind: len(list(rows)) for kind, rows in floor.tuples(scope)})
    rows = fetch_rows(scope)
    gathered = Counter({kind: len(rows[kind]) for kind in SAME_NAME})
    said: list[Row] = [json.loads(row[3]) for row in rows["equipment"]]
    rules = [rule for _, _, of_item in said for rule in of_item]
    gathered["newest work"] = sum(newest is not None for _, newest, _ in said)
    gathered["rule"] = len(rules)
    gathered["passed of rule"] = sum(rule[5] is not None for rule in rules)
    gathered["newest of rule"] = sum(rule[6] is not None for rule in rules)
    cylinders = [one for row in rows["bank"] for one in row[-1]]
    gathered["cylinder"] = len(cylinders)
    gathered["analysis"] = sum(one[2] is not None for one in cylinders)
    gathered["plan's need"] = sum(len(row[-1]) for row in rows["plan"])
    gathered["member"] = sum(len(row[-1]) for row in rows["need"])
    gathered["medical"] = sum(row[4] is not None for row in rows["person"])
    gathered["held"] = sum(len(row[5]) for row in rows["person"])
    gathered["wait"] = sum(len(row[6]) for row in rows["person"])
    gathered["practised"] = sum(len(row[7]) for row in rows["person"])
    gathered["drilled"] = sum(len(row[8]) for row in rows["person"])
    gathered["declared"] = sum(row[9] is not None for row in rows["person"])
    gathered["shut-down"] = len(rows["shut"])
    gathered["signed check"] = sum(row[4] is not None for row in rows["sheet"])
    apart = {"reading", "run's bank"}  # read once for a bank, gathered with each of its cylinders
    assert {kind: flat[kind] for kind in flat if kind not in apart} == {kind: gathered[kind] for kind in gathered}
    assert flat["reading"] == len(rows["bank"])  # the invented banks are read as a whole
