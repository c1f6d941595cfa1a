"""Members and needs of the slow readiness, minute by minute."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from functools import cache
from typing import Any

from tests.oracle.slow_time import day_over, minute, within


class SlowNeeds:
    """One facility and the instant that readiness is asked at."""

    def __init__(self, facts: dict[str, Any], at: str, *, frozen: bool = False) -> None:
        """Remember the facts; ``frozen``: ages and content as they are at ``at``."""
        self.facts = facts
        self.at = minute(at)
        self.frozen = frozen
        self.member_now = cache(self.member_now_)
        self.member_at_start = cache(self.member_at_start_)

    # Time

    def duration(self, plan: dict[str, Any]) -> int:
        """D of a plan."""
        longer: int = sum(e["minutes"] * e["allowed"] for e in plan["extensions"])
        return int(plan["table_min"]) + longer + int(plan["margin_min"])

    def part(self, part: dict[str, Any], length: int, start: int) -> range:
        """Every minute of the part, both ends included."""
        first = min(part["from"], length)
        last = length if part["to"] is None else min(part["to"], length)
        return range(start + first, start + last + 1)

    def end_of_due(self, until: Any) -> int:
        """First minute at which a due instant or date is past."""
        if isinstance(until, str):
            return minute(until)
        return day_over(self.facts["zone"], until["date"], until["window_days"])

    def moments(self) -> list[int]:
        """Every later minute at which anything may be otherwise than just before."""
        found = set(self.collected(self.facts, ""))
        longest = max(self.duration(plan) for plan in self.facts["plans"].values())
        near = {moment - back for moment in found for back in range(longest + 2)}
        return sorted(moment for moment in near if moment > self.at)

    def collected(self, value: Any, key: str) -> Iterator[int]:
        """Every instant in a JSON value, and when readings and checks are too old."""
        if isinstance(value, dict) and set(value) == {"date", "window_days"}:
            yield self.end_of_due(value)
        elif isinstance(value, dict):
            for name, item in value.items():
                yield from self.collected(item, name)
        elif isinstance(value, list):
            for item in value:
                yield from self.collected(item, key)
        elif isinstance(value, str) and len(value) == len("2026-11-27T10:00Z") and value.endswith("Z"):
            yield minute(value)
            if key in ("read_at", "signed_at"):
                yield minute(value) + self.facts["age_limit_min"]["bank" if key == "read_at" else "check"]

    # Members

    def member_now_(self, name: str, plan: str, moment: int) -> int:
        """Level of a member at one minute: all that is not judged at the start."""
        member = self.facts["members"][name]
        causes = [0]
        causes += [self.due_now(due, moment) for due in member.get("due", [])]
        causes += [
            3 if defect["effect"] == "out" else 1
            for defect in member.get("defects", [])
            if within(defect, moment) and (defect["plans"] is None or plan in defect["plans"])
        ]
        if member["kind"] == "equipment":
            causes.append(self.result_now(member, moment))
        if member["kind"] == "check":
            causes.append(self.check_now(member, moment))
        return max(causes)

    def due_now(self, due: dict[str, Any], moment: int) -> int:
        """Level of one interval at one minute."""
        if due["until"] is None:
            return 2
        if moment >= self.end_of_due(due["until"]):
            return 3
        return 2 if due.get("from") and moment < minute(due["from"]) else 0

    def result_now(self, member: dict[str, Any], moment: int) -> int:
        """Level of an item's newest result at one minute."""
        words = ["passed", "", "could not read", "failed"]
        past = [(minute(r["at"]), words.index(r["result"])) for r in member["results"]]
        past = [r for r in past if r[0] <= moment]
        if past:
            return max(past)[1]
        return 0 if member["due"] or member["counters"] else 2

    def check_now(self, member: dict[str, Any], moment: int) -> int:
        """Level of the newest check at one minute, its age apart."""
        words = ["passed", "limits", "", "failed"]
        past = [(minute(c["signed_at"]), words.index(c["result"])) for c in member["checks"]]
        past = [c for c in past if c[0] <= moment]
        if not past:
            return 2
        signed, level = max(past)
        return max([level, *[2 for o in member["opened"] if signed <= minute(o) <= moment]])

    def member_at_start_(self, name: str, plan: str, gas: str | None, start: int, length: int) -> int:
        """Level of a member by what is judged at the start: age, content, counters."""
        member = self.facts["members"][name]
        judged = self.at if self.frozen else start
        if member["kind"] == "equipment":
            return max([0, *(self.counter(c, length) for c in member["counters"])])
        if member["kind"] == "check":
            signed = [minute(c["signed_at"]) for c in member["checks"] if minute(c["signed_at"]) <= judged]
            limit = self.facts["age_limit_min"]["check"]
            return 0 if signed and judged - max(signed) < limit else 2
        return self.bank(member, self.facts["plans"][plan]["gas"], gas, judged)

    def counter(self, counter: dict[str, Any], length: int) -> int:
        """Level of a counter for one run."""
        if counter["count"] is None:
            return 2
        used = Fraction(counter["per_run"]) + Fraction(counter["per_hour"]) * Fraction(length, 60)
        return 0 if Fraction(counter["count"]) + used <= Fraction(counter["limit"]) else 3

    def bank(self, bank: dict[str, Any], demands: dict[str, Any], gas: str | None, judged: int) -> int:
        """Level of a bank's content."""
        if gas is not None and bank["gas"] != gas:
            return 3
        if gas not in demands:
            return 2
        passed = [c for c in bank["cylinders"] if c["analysis"] == "passed"]
        age = self.facts["age_limit_min"]["bank"]
        fresh = [
            c
            for c in passed
            if c["usable"] is not None and c["read_at"] is not None and 0 <= judged - minute(c["read_at"]) < age
        ]
        asked = demands[gas]["demand"] + demands[gas]["reserve"]
        if sum(c["usable"] for c in fresh) >= asked:
            return 0
        return 2 if len(fresh) < len(passed) else 3

    # Needs

    def levels(self, name: str, plan: str, start: int, length: int) -> list[int]:
        """Level of each member of a need, the worst over the whole part."""
        need = self.facts["needs"][name]
        part = self.part(need, length, start)
        return [
            max(
                self.member_at_start(one, plan, need.get("gas"), start, length),
                *[self.member_now(one, plan, moment) for moment in part],
            )
            for one in sorted(set(need["members"]))
        ]

    def rules(self, levels: list[int], k: int) -> int:
        """Rules 1 to 4."""
        good, limited, unknown = (levels.count(level) for level in (0, 1, 2))
        if good >= k:
            return 0
        if good + limited >= k:
            return 1
        return 2 if good + limited + unknown >= k else 3

    def unwaived(self, name: str, plan: str, start: int, length: int) -> int:
        """State of a need without any waiver."""
        need = self.facts["needs"][name]
        state = self.rules(self.levels(name, plan, start, length), need["k"])
        return min(state, 1) if need["effect"] == "limits" else state

    def need(self, name: str, plan: str, start: int) -> int:
        """State of a need after waivers."""
        length = self.duration(self.facts["plans"][plan])
        state = self.unwaived(name, plan, start, length)
        need = self.facts["needs"][name]
        if state < 2 or not need["waivable"]:
            return state
        levels = self.levels(name, plan, start, length)
        for waiver in self.facts["waivers"]:
            if waiver["need"] == name and self.acts(waiver, plan, start, [self.part(need, length, start)]):
                state = min(state, max(1, self.rules(levels, waiver["accepts"])))
        return state

    def acts(self, waiver: dict[str, Any], plan: str, start: int, parts: list[range]) -> bool:
        """Whether a waiver is for the plan and in force as long as it must be."""
        if waiver["plans"] is not None and plan not in waiver["plans"]:
            return False
        if waiver["to_end_of_run"]:
            return within(waiver, start)
        return all(within(waiver, moment) for part in parts for moment in part)
