"""The crew of the slow readiness, by trying every assignment."""

from __future__ import annotations

import itertools
from functools import cache
from typing import Any

from tests.oracle.slow_needs import SlowNeeds
from tests.oracle.slow_time import minute, within


class SlowCrew(SlowNeeds):
    """Needs, and the crew as well."""

    def __init__(self, facts: dict[str, Any], at: str, *, frozen: bool = False) -> None:
        """Remember the facts."""
        super().__init__(facts, at, frozen=frozen)
        self.person_now = cache(self.person_now_)
        self.fill = cache(self.fill_)

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
