"""Readiness, slow and obvious: minute by minute, on the JSON values themselves.

Written from the design's text alone; shares no code with the application. Every
question is asked of every single minute that could matter, crews are filled by trying
every assignment, and nothing is sorted, merged or remembered beyond one evaluation.
"""

from __future__ import annotations

from typing import Any

from tests.oracle.slow_crew import SlowCrew
from tests.oracle.slow_time import NINETY_DAYS, written

FINDINGS = ["holds", "limits", "not known", "stops"]
PLANS = ["Ready", "Ready with limits", "Not known", "Not ready"]


class Slow(SlowCrew):
    """Plans of one facility at the instant that readiness is asked at."""

    # Plans

    def findings(self, plan: str, start: int) -> dict[str, int]:
        """State of everything that a plan rests on."""
        asked = self.facts["plans"][plan]
        found = {name: self.need(name, plan, start) for name in asked["needs"]}
        if asked["roles"]:
            found["crew"] = self.crew(plan, start)
        return found

    def evaluate(self, plan: str) -> dict[str, Any]:
        """The whole evaluation in its JSON shape."""
        now = self.findings(plan, self.at)
        later = {moment: self.findings(plan, moment) for moment in self.moments()}
        state = max(now.values(), default=2)
        holds = None
        if state < 3 and now:
            holds = next((m for m, found in later.items() if max(found.values()) > state), None)
        ready = None
        if state >= 2 and now:
            ready = next((m for m, found in later.items() if max(found.values()) <= 1), None)
        return {
            "state": PLANS[state],
            "duration_min": self.duration(self.facts["plans"][plan]),
            "holds_until": written(holds),
            "limiting": [] if holds is None else [n for n, level in later[holds].items() if level > state],
            "ready_from": written(ready),
            "in_the_way": [name for name, level in now.items() if level >= 2],
            "findings": {name: self.finding(name, plan, now, later) for name in now},
        }

    def finding(self, name: str, plan: str, now: dict[str, int], later: dict[int, dict[str, int]]) -> dict[str, Any]:
        """One finding in its JSON shape."""
        length = self.duration(self.facts["plans"][plan])
        unwaived = self.crew_unwaived if name == "crew" else (lambda *a: self.unwaived(name, *a))
        before = unwaived(plan, self.at, length)
        point = unwaived(plan, self.at, 0)
        shape = {
            "state": FINDINGS[now[name]],
            "without_waiver": FINDINGS[before],
            "waived": now[name] < before,
            "start_until": written(next((m for m, found in later.items() if found[name] > now[name]), None)),
            "lapses_at": written(next((m for m in later if unwaived(plan, m, 0) > point), None)),
        }
        if name == "crew":
            return shape | self.crew_shape(plan, length)
        levels = self.levels(name, plan, self.at, length)
        return shape | {"counts": [levels.count(level) for level in range(4)]}


def slow_evaluate(facts: dict[str, Any], at: str) -> dict[str, Any]:
    """Evaluation of every plan."""
    slow = Slow(facts, at)
    return {plan: slow.evaluate(plan) for plan in facts["plans"]}


def slow_forecast(facts: dict[str, Any], plan: str, at: str) -> list[list[str | None]]:
    """Steps over [at, at + 90 days), ages and content as judged at ``at``."""
    slow = Slow(facts, at, frozen=True)
    steps: list[list[str | None]] = []
    for moment in [slow.at, *slow.moments()]:
        state = PLANS[max(slow.findings(plan, moment).values(), default=2)]
        if moment < slow.at + NINETY_DAYS and (not steps or steps[-1][1] != state):
            steps.append([written(moment), state])
    return steps
