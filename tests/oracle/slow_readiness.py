"""Readiness, slow and obvious: minute by minute, on the JSON values themselves.

Written from the design's text alone; shares no code with the application. Every
question is asked of every single minute that could matter, crews are filled by trying
every assignment, and nothing is sorted, merged or remembered beyond one evaluation.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from functools import cache
from typing import Any
from zoneinfo import ZoneInfo

FINDINGS = ["holds", "limits", "not known", "stops"]
PLANS = ["Ready", "Ready with limits", "Not known", "Not ready"]
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
NINETY_DAYS = 90 * 24 * 60


@cache
def minute(text: str) -> int:
    """Minutes since 1970 of an instant."""
    return int((datetime.fromisoformat(text.replace("Z", "+00:00")) - EPOCH).total_seconds() // 60)


def written(moment: int | None) -> str | None:
    """The instant of a number of minutes since 1970."""
    return None if moment is None else (EPOCH + timedelta(minutes=moment)).strftime("%Y-%m-%dT%H:%MZ")


@cache
def day_over(zone: str, day: str, window_days: int) -> int:
    """First minute after a civil day and its window, by looking at the calendar each minute."""
    last = datetime.fromisoformat(day).date() + timedelta(days=window_days)
    guess = minute(f"{last.isoformat()}T00:00Z") - 2 * 60
    while (EPOCH + timedelta(minutes=guess)).astimezone(ZoneInfo(zone)).date() <= last:
        guess += 1
    return guess


def within(span: dict[str, Any], moment: int) -> bool:
    """Whether a moment lies in [from, until)."""
    until = span.get("until")
    return minute(span["from"]) <= moment and (until is None or moment < minute(until))


class Slow:
    """One facility and the instant that readiness is asked at."""

    def __init__(self, facts: dict[str, Any], at: str, *, frozen: bool = False) -> None:
        """Remember the facts; ``frozen``: ages and content as they are at ``at``."""
        self.facts = facts
        self.at = minute(at)
        self.frozen = frozen
        self.member_now = cache(self.member_now_)
        self.member_at_start = cache(self.member_at_start_)
        self.person_now = cache(self.person_now_)
        self.fill = cache(self.fill_)

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

    # Crew

    def person_now_(self, name: str, qualifications: tuple[str, ...], medical: bool, moment: int) -> dict[str, int]:
        """Level of a person at one minute, by cause."""
        person = self.facts["people"][name]
        causes = {}
        if medical:
            covering = [m for m in person["medical"] if within(m, moment)]
            over = any(m["until"] is not None and minute(m["until"]) <= moment for m in person["medical"])
            causes["medical"] = min([2 if m["second_look"] else 0 for m in covering], default=3 if over else 2)
        on_duty = any(within(d, moment) for d in person["duty"])
        roster = self.facts["roster_until"]
        beyond = roster is not None and moment >= minute(roster)
        causes["duty"] = 0 if on_duty else 2 if beyond else 3
        causes["wait"] = 3 if any(within(w, moment) for w in person["waits"]) else 0
        for one in qualifications:
            covering = [q for q in person["qualifications"].get(one, []) if within(q, moment)]
            causes[f"qualification {one}"] = min([2 if q["second_look"] else 0 for q in covering], default=3)
        causes["restricted"] = 1 if any(within(r, moment) for r in person["restricted"]) else 0
        return causes

    def causes(self, person: str, role: dict[str, Any], start: int, length: int) -> dict[str, int]:
        """Worst level of each cause over the part of a role."""
        per_minute = [
            self.person_now(person, tuple(role["qualifications"]), role["medical"], moment)
            for moment in self.part(role, length, start)
        ]
        return {cause: max(one[cause] for one in per_minute) for cause in per_minute[0]}

    def fits(self, roles: list[dict[str, Any]], start: int, length: int) -> dict[tuple[str, str], int]:
        """Level of every person in every role."""
        return {
            (person, role["role"]): max(self.causes(person, role, start, length).values())
            for person in self.facts["people"]
            for role in roles
        }

    def fill_(self, places: tuple[str, ...], may: frozenset[tuple[str, str]]) -> int:
        """Most places that can be filled, by trying every assignment."""
        people = sorted({person for person, _ in may})
        best = 0
        for chosen in itertools.product([None, *people], repeat=len(places)):
            taken = [(person, place) for person, place in zip(chosen, places, strict=True) if person is not None]
            names = [person for person, _ in taken]
            if len(set(names)) == len(names) and all(pair in may for pair in taken):
                best = max(best, len(taken))
        return best

    def filled(self, places: tuple[str, ...], fits: dict[tuple[str, str], int]) -> list[int]:
        """Places filled by good, by good or limited, by good, limited or unknown people."""
        return [
            self.fill(places, frozenset(pair for pair, level in fits.items() if level <= limit)) for limit in (0, 1, 2)
        ]

    def places(self, plan: str) -> tuple[str, ...]:
        """Each place of the crew, by the role it belongs to."""
        return tuple(r["role"] for r in self.facts["plans"][plan]["roles"] for _ in range(r["count"]))

    def crew_unwaived(self, plan: str, start: int, length: int) -> int:
        """State of the crew without waivers."""
        roles = self.facts["plans"][plan]["roles"]
        places = self.places(plan)
        filled = self.filled(places, self.fits(roles, start, length))
        return next((level for level in (0, 1, 2) if filled[level] == len(places)), 3)

    def crew(self, plan: str, start: int) -> int:
        """State of the crew after waivers."""
        asked = self.facts["plans"][plan]
        length = self.duration(asked)
        state = self.crew_unwaived(plan, start, length)
        if state < 2 or not asked["crew_waivable"]:
            return state
        fits = self.fits(asked["roles"], start, length)
        for waiver in self.facts["waivers"]:
            if waiver["need"] != "crew":
                continue
            named = [role for role in asked["roles"] if role["role"] in waiver["without"]]
            parts = [self.part(role, length, start) for role in named]
            if not named or not self.acts(waiver, plan, start, parts):
                continue
            rest = list(self.places(plan))
            for role in waiver["without"]:
                if role in rest:
                    rest.remove(role)
            filled = self.filled(tuple(rest), fits)
            level = next((level for level in (0, 1, 2) if filled[level] == len(rest)), 3)
            state = min(state, max(1, level))
        return state

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

    def crew_shape(self, plan: str, length: int) -> dict[str, Any]:
        """How the places are filled and what would fill one more."""
        roles = self.facts["plans"][plan]["roles"]
        places = self.places(plan)
        fits = self.fits(roles, self.at, length)
        filled = self.filled(places, fits)
        lifts, short = [], []
        may = frozenset(pair for pair, level in fits.items() if level <= 1)
        if filled[1] < len(places):
            for role in roles:
                if self.fill(places, may | {("somebody new", role["role"])}) > filled[1]:
                    short.append(role["role"])
                for person in self.facts["people"]:
                    pair = (person, role["role"])
                    if pair not in may and self.fill(places, may | {pair}) > filled[1]:
                        causes = self.causes(person, role, self.at, length)
                        lacks = [cause for cause, level in causes.items() if level >= 2]
                        lifts.append({"person": person, "role": role["role"], "lacks": lacks})
        good, limited, unknown = filled
        counts = [good, limited - good, unknown - limited, len(places) - unknown]
        return {
            "counts": counts,
            "slots": len(places),
            "filled": filled,
            "lifts": lifts,
            "roles_short": short,
        }


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
