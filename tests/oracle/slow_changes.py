"""What-if changes made on the JSON values themselves, one plain step at a time."""

from __future__ import annotations

import copy
from fractions import Fraction
from typing import Any

from tests.oracle.slow_time import minute, written


def slow_changed(facts: dict[str, Any], at: str, changes: list[dict[str, Any]]) -> dict[str, Any]:
    """The facts after all changes, in their order."""
    facts = copy.deepcopy(facts)
    for change in changes:
        if change["op"] == "without person":
            del facts["people"][change["person"]]
        elif change["op"] == "out of service":
            defect = {"from": at, "until": None, "effect": "out", "plans": None}
            facts["members"][change["member"]]["defects"].append(defect)
        elif change["op"] == "late":
            late(facts["members"][change["member"]], minute(at), change["days"])
        elif change["op"] == "done":
            due = facts["members"][change["member"]]["due"]
            for place, one in enumerate(due):
                if one["name"] == change["due"]:
                    due[place] = {"name": one["name"], "until": change["until"]}
        else:
            after_run(facts, change)
    return facts


def late(member: dict[str, Any], now: int, days: int) -> None:
    """Every absence that ends after now ends so many days later."""
    for defect in member["defects"]:
        if defect["until"] is not None and minute(defect["until"]) > now:
            defect["until"] = written(minute(defect["until"]) + days * 24 * 60)
    for due in member["due"]:
        if due.get("from") is not None and minute(due["from"]) > now:
            due["from"] = written(minute(due["from"]) + days * 24 * 60)


def after_run(facts: dict[str, Any], change: dict[str, Any]) -> None:
    """Gas gone, counters up, checks void, those inside waiting."""
    plan = facts["plans"][change["plan"]]
    minutes = plan["table_min"] + sum(e["minutes"] * e["allowed"] for e in plan["extensions"])
    end = minute(change["start"]) + minutes
    for gas, name in change["banks"].items():
        draw(facts["members"][name], plan["gas"][gas]["demand"], written(end))
    for member in facts["members"].values():
        if member["kind"] == "check":
            member["opened"].append(written(end))
        for counter in member.get("counters", []):
            if counter["count"] is not None:
                counter["count"] += counter["per_run"] + Fraction(counter["per_hour"]) * Fraction(minutes, 60)
    for name in change["inside"]:
        wait = {"from": change["start"], "until": written(end + plan["wait_min"])}
        facts["people"][name]["waits"].append(wait)


def draw(bank: dict[str, Any], left: Any, read_at: str | None) -> None:
    """Take gas from the cylinders in order, and read those that were ever read."""
    for cylinder in bank["cylinders"]:
        if cylinder["usable"] is None or cylinder["read_at"] is None:
            continue
        if cylinder["analysis"] == "passed":
            taken = min(cylinder["usable"], left)
            cylinder["usable"] -= taken
            left -= taken
        cylinder["read_at"] = read_at
