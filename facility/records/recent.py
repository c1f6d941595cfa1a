"""Until when certificates count by practice, for the pages of records: the same rule as readiness, for many at once."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING, Any

from django.db.models import Max

from facility.models import DrillPart
from facility.readiness.telling.recency import last_practised, recency
from treatments.models import RunPlace

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date

    from facility.readiness.telling.recency import Recency

Practice = dict[int, list[list[Any]]]


class Practices:
    """The newest practice of some people in each role: from runs that ended and from drills that reached their goal.

    No query where none of the certificates lapses without practice.
    """

    def __init__(self, held: Iterable[Any], zone: str) -> None:
        self.zone = zone
        people = {row.person_id for row in held if row.kind.recency_days}
        self.runs = _newest(
            RunPlace.objects.filter(person__in=people, retired_at=None, run__retired_at=None, run__ended_at__isnull=False),
            "run__ended_at", people,
        )  # fmt: skip
        self.drills = _newest(
            DrillPart.objects.filter(person__in=people, retired_at=None, drill__retired_at=None, drill__reached=True),
            "drill__held_at", people,
        )  # fmt: skip

    def of(self, held: Any) -> Recency | None:
        """Return how long one certificate counts by practice; none where it does not lapse that way."""
        if not held.kind.recency_days:
            return None
        last = last_practised(
            held.kind.key, self.runs.get(held.person_id, []), self.drills.get(held.person_id, []), self.zone
        )
        return recency(held.kind.recency_days, held.issued_on, last)

    def good_through(self, held: Any) -> date | None:
        """Return the last good day by certificate and practice together; none where neither has an end."""
        by_practice = self.of(held)
        ends = [day for day in (held.expires_on, by_practice.good_through if by_practice else None) if day is not None]
        return min(ends, default=None)


def _newest(rows: Any, at: str, people: set[int]) -> Practice:
    found: Practice = defaultdict(list)
    if people:
        for person, role, newest in rows.values_list("person_id", "role").annotate(newest=Max(at)):
            found[person].append([role, newest.isoformat()])
    return found
