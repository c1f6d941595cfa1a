"""Random facilities, minute by minute: while a kept answer counts, no table shows better than a live answer would.

Everything is crowded into the quarter of an hour for which an answer may be kept, so that each sort of end is met.
"""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import pytest

from facility.compute.fleet import SHOWN_FOR, why_old
from facility.compute.states import STATES, State
from facility.fleet import refreshing
from facility.fleet.keeping import kept_chambers, log_of
from facility.gathered import current
from facility.models import Chamber, FleetState
from facility.readiness.services import answers
from tests import make
from tests.facility.readiness_db import build as rows
from tests.fleet.build import T
from tests.strategies import seeded

if TYPE_CHECKING:
    from datetime import datetime
    from random import Random

    from maintenance.models import Equipment

pytestmark = [pytest.mark.django_db, pytest.mark.both]
FACILITIES = 14
DAY = timedelta(days=1)


def soon(chance: Random, first: int = -5, last: int = 20) -> timedelta:
    """Return a span of whole minutes and some seconds."""
    return timedelta(minutes=chance.randint(first, last), seconds=chance.choice((0, 0, 1, 30, 59)))


def random_chamber(chance: Random, number: int) -> Chamber:
    """Return a stored chamber whose items, gas, checks, crew and runs end within minutes."""
    place = make.site(key=f"r-{number}", zone=chance.choice(("UTC", "Europe/Oslo", "America/New_York")))
    found = make.chamber(place, key="chamber-1")
    gauges = [random_gauge(chance, found) for _ in range(chance.randint(1, 3))]
    needs = [rows.need(found, "depth", *gauges, k=1, effect=chance.choice(("stops", "limits")))]
    if chance.random() < 0.5:
        bank = make.bank(place, key="oxygen", chamber=found)
        rows.cylinder(bank)
        rows.reading(bank, T - DAY + soon(chance), chance.choice(("150", "90")))
        needs.append(rows.need(found, "oxygen", bank, gas="O2"))
    if chance.random() < 0.5:
        daily = rows.sheet(found)
        rows.signed(daily, T - DAY + soon(chance), chance.choice(("passed", "passed", "limits", "failed")))
        needs.append(rows.need(found, "check", daily))
    roles = random_crew(chance, found) if chance.random() < 0.5 else []
    for key in ("a", "b"):
        some = chance.sample(needs, chance.randint(1, len(needs)))
        rows.plan(
            found, key, *some, table_min=chance.randint(1, 4), roles=roles, gas={"O2": {"demand": 3000, "reserve": 100}}
        )
    if chance.random() < 0.3:
        rows.waiver(found, needs[0], T - DAY, T + soon(chance, 1), accepts=0)
    if chance.random() < 0.2:
        rows.run(found.plans.get(key="a"), T - timedelta(hours=2), T + soon(chance, 1), ended_at=T - soon(chance, 1))
    return found


def random_gauge(chance: Random, of: Chamber) -> Equipment:
    """Return a gauge that was calibrated and now and then goes out of service for some minutes."""
    gauge = rows.good_gauge(of)
    if chance.random() < 0.7:
        begin = T + soon(chance)
        back = begin + timedelta(minutes=chance.randint(1, 20)) if chance.random() < 0.5 else None
        rows.defect(gauge, begin, returned_at=back, effect=chance.choice(("stops", "limits")), what="planned")
    return gauge


def random_crew(chance: Random, of: Chamber) -> list[dict[str, object]]:
    """Store people who come and go within minutes, and return the role that one of them has to fill."""
    kind = make.qualification_kind(of.site.organisation, key="tender")
    for _ in range(chance.randint(1, 2)):
        who = make.person(of.site)
        rows.held(who, kind)
        rows.duty(who, T - DAY, T + soon(chance, 1, 30))
        if chance.random() < 0.3:
            rows.wait(who, T + soon(chance), T + timedelta(minutes=30))
    return [{"role": "tender", "count": 1, "qualifications": ["tender"], "medical": False, "from": 0, "to": None}]


def counting(at: datetime) -> set[int]:
    """Return the chambers of which what was kept may be shown."""
    kept = list(kept_chambers(current(Chamber)))
    log = log_of(kept, at)
    return {row.chamber for row in kept if why_old(row.kept, at, log, changed=row.changed) is None}


@pytest.mark.parametrize("seed", range(2))
def test_no_table_shows_better_than_it_is_at_any_minute(seed: int, clock: list[datetime]) -> None:
    chance = seeded(seed)
    chambers = [random_chamber(chance, number) for number in range(FACILITIES)]
    clock[0] = T + timedelta(seconds=chance.choice((0, 7, 59)))
    refreshing.refresh()
    kept = {
        one.chamber_id: {plan["plan"]: State(plan["state"]) for plan in one.plans} for one in FleetState.objects.all()
    }
    met, ended = set(), 0
    for minute in range(int(SHOWN_FOR / timedelta(minutes=1)) + 2):
        at = T + timedelta(minutes=minute, seconds=59)
        counts = counting(at)
        ended += len(kept) - len(counts)
        for answer in answers(chambers, at):
            if answer.chamber.pk not in counts:
                continue
            for plan, found in answer.evaluations.items():
                word = kept[answer.chamber.pk][plan]
                met.add(word)
                if word in (State.READY, State.READY_WITH_LIMITS):
                    assert STATES.index(found.state) <= STATES.index(word), (seed, minute, answer.chamber, plan)
    assert counting(T + SHOWN_FOR + timedelta(seconds=59)) == set()
    assert len(met) >= 3  # the facilities were not all alike
    assert ended > len(kept) * 2  # and some ended before their age


@pytest.mark.parametrize("seed", [2])
def test_what_is_kept_is_what_is_live_at_that_instant(seed: int, clock: list[datetime]) -> None:
    chance = seeded(seed)
    chambers = [random_chamber(chance, number) for number in range(FACILITIES)]
    refreshing.refresh()
    kept = {one.chamber_id: {plan["plan"]: plan["state"] for plan in one.plans} for one in FleetState.objects.all()}
    for answer in answers(chambers, T):
        assert kept[answer.chamber.pk] == {plan: str(found.state) for plan, found in answer.evaluations.items()}
