"""Small random facilities, crowded into half an hour so that every edge is met."""

from __future__ import annotations

from datetime import datetime, timedelta
from random import Random
from typing import Any

from hypothesis import strategies as st

# Shortly before midnight in one of the zones; three of them on a day when clocks change.
BASES = ("2026-11-27T23:45Z", "2026-03-29T21:45Z", "2026-10-25T22:45Z", "2026-03-08T04:45Z", "2026-11-02T04:45Z")
ZONES = ("UTC", "Europe/Oslo", "America/New_York")
GASES = ("oxygen", "air")
SKILLS = ("panel", "tender")


class Facts:
    """Draws facts one after another from a source of chance."""

    def __init__(self, chance: Random) -> None:
        """Choose the hour around which everything happens."""
        self.chance = chance
        self.health = chance.choice((0.3, 0.7, 0.9, 0.97))
        self.base = datetime.fromisoformat(chance.choice(BASES).removesuffix("Z"))

    def fault(self) -> bool:
        """Whether something is wrong here; seldom in a healthy facility."""
        return self.chance.random() > self.health

    def faulty(self, make: Any, most: int) -> list[Any]:
        """A short list where something is wrong, else nothing."""
        return self.some(make, most) if self.fault() else []

    def instant(self, first: int = -12, last: int = 30) -> str:
        """An instant within minutes of the base."""
        moment = self.base + timedelta(minutes=self.chance.randint(first, last))
        return f"{moment:%Y-%m-%dT%H:%M}Z"

    def some(self, make: Any, most: int, fewest: int = 0) -> list[Any]:
        """A short list."""
        return [make() for _ in range(self.chance.randint(fewest, most))]

    def maybe(self, value: Any, share: float = 0.5) -> Any:
        """A value or nothing."""
        return value if self.chance.random() < share else None

    def span(self, open_share: float = 0.0) -> dict[str, Any]:
        """A span, with a share of those that never end."""
        first = self.chance.randint(-12, 25)
        since = self.instant(first, first)
        if self.chance.random() < open_share:
            return {"from": since, "until": None}
        length = self.chance.randint(1, 30)
        return {"from": since, "until": self.instant(first + length, first + length)}

    def due(self) -> dict[str, Any]:
        """One interval, by instant, by date or never recorded."""
        kind = self.chance.choice(("late", "date", "never")) if self.fault() else "instant"
        if kind == "never":
            return {"name": "calibration", "until": None}
        if kind == "date":
            day = self.base + timedelta(days=self.chance.randint(-2, 1))
            window = self.chance.choice((0, 0, 1))
            return {"name": "test", "until": {"date": f"{day:%Y-%m-%d}", "window_days": window}}
        if kind == "late":
            return {"name": "calibration"} | self.span()
        return {"name": "inspection", "until": self.instant(6, 40)}

    def defect(self) -> dict[str, Any]:
        """A defect or shut-down."""
        return self.span(0.2) | {
            "effect": self.chance.choice(("out", "restricted")),
            "plans": self.chance.choice((None, None, ["P0"], [])),
        }

    def result(self) -> dict[str, Any]:
        """A result of an item."""
        words = ("failed", "could not read") if self.fault() else ("passed",)
        return {"at": self.instant(), "result": self.chance.choice(words)}

    def counter(self) -> dict[str, Any]:
        """A counter near its limit."""
        return {
            "name": "cycles",
            "count": None if self.fault() else self.chance.randint(0, 4),
            "limit": self.chance.choice((3, 4, 4.25, 5)),
            "per_run": self.chance.choice((0, 1)),
            "per_hour": self.chance.choice((0, 0.5, 3)),
        }

    def member(self) -> dict[str, Any]:
        """An item, a bank or a check."""
        kind = self.chance.choice(("equipment", "equipment", "bank", "check"))
        if kind == "check":
            checks = self.some(self.signed, 3, 1)
            return {"kind": kind, "checks": checks, "opened": self.faulty(self.instant, 1)}
        both = {"kind": kind, "due": self.some(self.due, 2), "defects": self.faulty(self.defect, 2)}
        if kind == "bank":
            return both | {"gas": self.chance.choice(("oxygen", "oxygen", "air")), "cylinders": self.cylinders()}
        return both | {"results": self.some(self.result, 2), "counters": self.some(self.counter, 1)}

    def signed(self) -> dict[str, Any]:
        """A signed check."""
        words = ("limits", "failed") if self.fault() else ("passed",)
        return {"signed_at": self.instant(-12, 10), "result": self.chance.choice(words)}

    def cylinders(self) -> list[dict[str, Any]]:
        """Up to three cylinders."""
        return [
            {
                "id": f"c{number}",
                "usable": None if self.fault() else self.chance.choice((1, 2, 3.5)),
                "read_at": None if self.fault() else self.instant(-12, 3),
                "analysis": self.chance.choice(("failed", None)) if self.fault() else "passed",
            }
            for number in range(self.chance.randint(0, 3))
        ]

    def held(self) -> dict[str, Any]:
        """A qualification or medical."""
        if not self.fault():
            return {"from": self.instant(-12, 0), "until": self.maybe(self.instant(10, 40)), "second_look": False}
        return self.span(0.4) | {"second_look": self.chance.random() < 0.5}

    def stretch(self) -> dict[str, Any]:
        """A stretch of duty, long unless something is wrong."""
        return self.span() if self.fault() else {"from": self.instant(-12, 0), "until": self.instant(15, 40)}

    def person(self) -> dict[str, Any]:
        """A person, mostly fit for something."""
        return {
            "qualifications": {skill: self.some(self.held, 2, 1) for skill in SKILLS if self.chance.random() < 0.8},
            "medical": self.some(self.held, 2, 1),
            "duty": self.some(self.stretch, 3, 1),
            "waits": self.faulty(self.span, 1),
            "restricted": self.faulty(self.span, 1),
        }

    def part(self) -> dict[str, Any]:
        """Minutes of the run."""
        first = self.chance.choice((0, 0, 0, 3))
        return {"from": first, "to": self.maybe(first + self.chance.randint(0, 6), 0.3)}

    def need(self, members: dict[str, Any]) -> dict[str, Any]:
        """A need of some of the members; gas where all of them are banks."""
        names = self.some(lambda: self.chance.choice(list(members)), 4, 0 if self.fault() else 1)
        banks = bool(names) and all(members[name]["kind"] == "bank" for name in names)
        return self.part() | {
            "k": self.chance.choice((1, 1, 1, 2)),
            "members": names,
            "effect": self.chance.choice(("stops", "stops", "stops", "limits")),
            "waivable": self.chance.random() < 0.8,
            "gas": self.gas(members[names[0]]["gas"]) if banks else None,
        }

    def gas(self, usual: str) -> str | None:
        """The gas that the bank holds, unless something is wrong."""
        return self.chance.choice(("oxygen", "air", None)) if self.fault() else usual

    def roles(self) -> list[dict[str, Any]]:
        """Up to two roles, up to three places."""
        names = self.chance.sample(("panel", "tender 1", "tender 2"), self.chance.choice((0, 1, 2, 2)))
        return [
            self.part()
            | {
                "role": name,
                "count": self.chance.choice((1, 1, 2)) if place == 0 else 1,
                "qualifications": self.chance.sample(SKILLS, self.chance.randint(0, 1)),
                "medical": self.chance.random() < 0.3,
            }
            for place, name in enumerate(names)
        ]

    def plan(self, needs: dict[str, Any]) -> dict[str, Any]:
        """A plan of some of the needs, a few minutes long."""
        gases = self.chance.choice((GASES, GASES, GASES, ("oxygen",), ()))
        return {
            "table_min": self.chance.randint(0, 5),
            "extensions": self.some(lambda: {"minutes": 1, "allowed": self.chance.randint(0, 2)}, 1),
            "margin_min": self.chance.randint(0, 2),
            "needs": self.chance.sample(list(needs), self.chance.randint(0, len(needs))),
            "roles": self.roles(),
            "gas": {gas: {"demand": self.chance.choice((0, 1, 2.5)), "reserve": 1} for gas in gases},
            "crew_waivable": self.chance.random() < 0.8,
            "wait_min": self.chance.randint(0, 9),
        }

    def waiver(self, needs: dict[str, Any], plans: dict[str, Any]) -> dict[str, Any]:
        """A waiver of a need or of the crew."""
        roles = [role["role"] for plan in plans.values() for role in plan["roles"]]
        shared = self.span() | {
            "plans": self.chance.choice((None, None, ["P0"])),
            "to_end_of_run": self.chance.random() < 0.4,
        }
        if roles and self.chance.random() < 0.5:
            without = self.chance.choices(roles, k=self.chance.randint(0, 2))
            return shared | {"need": "crew", "plans": None, "without": without}
        return shared | {"need": self.chance.choice(list(needs)), "accepts": self.chance.choice((0, 1, 1, 2))}

    def facility(self) -> dict[str, Any]:
        """A whole facility."""
        members = {f"M{number}": self.member() for number in range(self.chance.randint(1, 4))}
        needs = {f"N{number}": self.need(members) for number in range(self.chance.randint(1, 3))}
        plans = {f"P{number}": self.plan(needs) for number in range(self.chance.choice((1, 1, 2)))}
        return {
            "zone": self.chance.choice(ZONES),
            "roster_until": self.maybe(self.instant(0, 30)),
            "age_limit_min": {"bank": self.chance.randint(0, 40), "check": self.chance.randint(0, 40)},
            "members": members,
            "people": {f"p{number}": self.person() for number in range(self.chance.choice((1, 2, 3, 3)))},
            "needs": needs,
            "plans": plans,
            "waivers": self.some(lambda: self.waiver(needs, plans), 2),
        }


def seeded(seed: int) -> Random:
    """A source of chance that gives the same facility for the same seed."""
    return Random(seed)  # noqa: S311 - facilities to test with, nothing secret


def random_facts(chance: Random) -> tuple[dict[str, Any], str]:
    """A random facility in its JSON shape, and an instant to ask about."""
    draw = Facts(chance)
    found = draw.facility()
    return found, draw.instant(-3, 12)


@st.composite
def facts(draw: st.DrawFn) -> tuple[dict[str, Any], str]:
    """The same as a Hypothesis strategy, so that a failure is made small."""
    return random_facts(draw(st.randoms(use_true_random=False)))


def random_changes(chance: Random, facts: dict[str, Any], at: str) -> list[dict[str, Any]]:
    """One or two changes that the facts allow."""
    changes = [change for make in (_of_people, _of_members, _of_runs) for change in make(chance, facts, at)]
    return chance.sample(changes, min(len(changes), chance.choice((0, 1, 2))))


def _of_people(chance: Random, facts: dict[str, Any], _at: str) -> list[dict[str, Any]]:
    people = list(facts["people"])
    return [{"op": "without person", "person": people[-1]}] if len(people) > 1 and chance.random() < 0.7 else []


def _of_members(chance: Random, facts: dict[str, Any], at: str) -> list[dict[str, Any]]:
    changes: list[dict[str, Any]] = []
    for name, member in facts["members"].items():
        if member["kind"] == "check":
            continue
        changes += [
            {"op": "out of service", "member": name},
            {"op": "late", "member": name, "days": chance.choice((0, 1, 3))},
        ]
        later = chance.choice((at[:-6] + "23:59Z", {"date": at[:10], "window_days": 1}))
        changes += [{"op": "done", "member": name, "due": due["name"], "until": later} for due in member["due"]]
    return changes


def _of_runs(chance: Random, facts: dict[str, Any], at: str) -> list[dict[str, Any]]:
    """A run of the first plan that is over already, or starts now; nobody who is taken away is inside."""
    plan = facts["plans"]["P0"]
    banks = {
        member["gas"]: name
        for name, member in facts["members"].items()
        if member["kind"] == "bank" and member["gas"] in plan["gas"]
    }
    before = datetime.fromisoformat(at.removesuffix("Z")) - timedelta(minutes=chance.choice((0, 3, 12)))
    inside = [name for name in list(facts["people"])[:-1] if chance.random() < 0.5]
    start = f"{before:%Y-%m-%dT%H:%M}Z"
    return [{"op": "after run", "plan": "P0", "start": start, "banks": banks, "inside": inside}]
