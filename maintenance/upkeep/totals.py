"""Running totals of counters: what their readings add up to over all meters."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from functools import cached_property
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from facility.gathered import current
from maintenance.compute.counters import CounterError, MeterReplacement, Reading, running_total
from maintenance.models import CounterReading
from maintenance.models import MeterReplacement as Replaced

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime
    from decimal import Decimal

Total = tuple[Reading, ...]


class LateTotals(Mapping[int, Total]):
    """Running totals of some sites, fetched when the first one is asked for: most items have no counter."""

    def __init__(self, zones: Mapping[int, str], at: datetime) -> None:
        self.zones, self.at = zones, at

    @cached_property
    def found(self) -> dict[int, Total]:
        """All of them."""
        return totals_of(self.zones, self.at)

    def __getitem__(self, counter: int) -> Total:
        return self.found[counter]

    def __iter__(self) -> Iterator[int]:
        return iter(self.found)

    def __len__(self) -> int:
        return len(self.found)


def totals_of(zones: Mapping[int, str], at: datetime) -> dict[int, Total]:
    """Return the running total of each counter of some sites until an instant; two queries.

    ``zones``: zone of each site. Readings that cannot all be true give no total: what cannot be told is not known.
    """
    replaced: dict[int, list[MeterReplacement]] = defaultdict(list)
    changes = current(Replaced).filter(counter__site__in=list(zones))
    for counter, on, last, first in changes.values_list("counter_id", "replaced_on", "last_of_old", "first_of_new"):
        replaced[counter].append(MeterReplacement(on, last, first))
    readings: dict[int, list[Reading]] = defaultdict(list)
    rows = current(CounterReading).filter(counter__site__in=list(zones), read_at__lte=at)
    for counter, site, read_at, value in rows.values_list("counter_id", "counter__site_id", "read_at", "value"):
        readings[counter].append(Reading(read_at.astimezone(ZoneInfo(zones[site])).date(), value))
    return {counter: total_of(rows, replaced[counter]) for counter, rows in readings.items()}


def total_of(readings: list[Reading], replaced: list[MeterReplacement]) -> Total:
    """Return a running total, empty where the readings cannot all be true."""
    try:
        return running_total(readings, replaced)
    except CounterError:
        return ()


def newest_total(total: Total) -> Decimal | None:
    """Return the newest value of a running total; None if it was never read."""
    return total[-1].value if total else None
