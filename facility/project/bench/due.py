"""How long it takes to say when every act on many items falls due, against fetching the same rows as tuples.

Limits: design goals of this project; common practice, no source.
"""

from __future__ import annotations

import tracemalloc
from datetime import timedelta
from decimal import Decimal
from functools import partial
from typing import TYPE_CHECKING

from facility.gathered import current
from facility.models import Organisation, Site
from facility.project.bench.readiness import seconds
from facility.project.bench.result import Result
from facility.project.bench.scratch import AT, TODAY, bulk, scratch_database
from maintenance.models import Counter, CounterReading, Equipment, Happening, IntervalRule, WorkRecord
from maintenance.upkeep.state import AT_ONCE, iter_due_states

if TYPE_CHECKING:
    from collections.abc import Iterator

BULK_LIMIT, MEMORY_LIMIT = 10.0, 1.2
ITEMS = 100_000
FEW, MANY = 4_000, 40_000
COUNTERS, READINGS = 20, 60
DONE_AGO = (40, 220, 400)
"""Days since each act of an item: done three times under each rule."""


def bulk_state(items: int = ITEMS) -> Result:
    """Three rules an item: plain, anchored with a window, and by counter, life and event."""
    with scratch_database():
        site = plant(items)
        whole, rows = seconds([partial(_states, site), partial(_tuples, site)], 2)
    note = f"{3 * items} rules, states {whole:.2f} s, rows {rows:.2f} s"
    return Result("due state in bulk against the same rows as tuples", whole / rows, BULK_LIMIT, "times", note)


def bulk_memory(few: int = FEW, many: int = MANY) -> Result:
    """The most memory held while looking through ten times the items, against the few."""
    with scratch_database():
        site, other = plant(few, key="few"), plant(many, key="many")
        low, high = _peak(site), _peak(other)
    return Result("memory of due states, ten times the items", high / low, MEMORY_LIMIT, "times")


def plant(items: int, key: str = "bench") -> Site:
    """Store a site with items, each under three rules, with work, counters and events."""
    (organisation,) = bulk([Organisation(key=f"{key}-org", name="Bench")])
    (site,) = bulk([Site(organisation=organisation, key=key, name="Bench", zone="Europe/Oslo")])
    counters = bulk(Counter(site=site, key=f"c-{n}", name=f"Counter {n}", unit="cycles") for n in range(COUNTERS))
    bulk(
        CounterReading(counter=one, read_at=AT - timedelta(days=7 * n), value=Decimal(5000 - 7 * n), read_by="Bench")
        for one in counters for n in range(READINGS)
    )  # fmt: skip
    for begin in range(0, items, AT_ONCE):
        _some(site, counters, range(begin, min(begin + AT_ONCE, items)))
    return site


def _some(site: Site, counters: list[Counter], numbers: range) -> None:
    made = bulk(
        Equipment(
            site=site, tag=f"E-{n:06d}", name=f"Item {n}", kind="other", in_service_on=TODAY - timedelta(days=900)
        )
        for n in numbers
    )
    rules = bulk(rule for n, item in enumerate(made) for rule in _rules(item, counters[n % COUNTERS]))
    bulk(
        WorkRecord(
            equipment=rule.equipment, rule=rule, done_on=TODAY - timedelta(days=ago), done_by="Bench",
            count=Decimal(5000 - ago) if rule.counter_id else None,
        )
        for rule in rules for ago in DONE_AGO
    )  # fmt: skip
    bulk(Happening(equipment=item, kind="moved", happened_on=TODAY - timedelta(days=300)) for item in made[::10])


def _rules(item: Equipment, counter: Counter) -> Iterator[IntervalRule]:
    yield IntervalRule(equipment=item, name="function test", months=2)
    yield IntervalRule(
        equipment=item, name="survey", months=12, anchor="fixed", window_kind="symmetric", window_months=3
    )
    yield IntervalRule(
        equipment=item, name="life", counter=counter, count_every=Decimal(500), count_life=Decimal(9000), life_months=120,
        triggers="moved",
    )  # fmt: skip


def _states(site: Site) -> int:
    return sum(1 for state in iter_due_states(site, TODAY) if state.due_on is not None)


def _tuples(site: Site) -> int:
    """Fetch rules with their items, passed work, counters, readings and events, a part at a time."""
    rules = current(IntervalRule).filter(equipment__site=site, equipment__retired_at=None)
    work = current(WorkRecord).filter(equipment__site=site, result="passed")
    fields = [field.attname for field in IntervalRule._meta.concrete_fields]
    kinds = (
        rules.values_list(*fields, "equipment__tag", "equipment__name", "equipment__kind", "equipment__in_service_on"),
        work.order_by("rule_id", "done_on").values_list(
            "pk", "rule_id", "done_on", "due_on", "month_only", "count", "kind"
        ),
        current(Counter).filter(site=site).values_list("pk", "unit", "per_run", "per_hour"),
        current(CounterReading).filter(counter__site=site).values_list("counter_id", "read_at", "value"),
        current(Happening).filter(equipment__site=site).values_list("equipment_id", "kind", "happened_on"),
    )
    return sum(1 for rows in kinds for _ in rows.iterator(chunk_size=AT_ONCE))


def _peak(site: Site) -> int:
    """Return the most bytes that Python held while going through the states of a site."""
    _states(site)  # what is remembered once and for all is there already
    tracemalloc.start()
    try:
        _states(site)
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
