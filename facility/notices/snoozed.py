"""What somebody answers for until an instant; until then it is in no notice."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from facility.models import Snooze

if TYPE_CHECKING:
    from collections.abc import Collection
    from datetime import datetime


def snoozed_at(sites: Collection[int], at: datetime) -> dict[int, frozenset[str]]:
    """Return the things that are snoozed at some sites. One query."""
    found: dict[int, frozenset[str]] = defaultdict(frozenset)
    rows = Snooze.objects.filter(site__in=sites, retired_at=None, until__gt=at)
    for site, thing in rows.values_list("site_id", "thing"):
        found[site] |= {thing}
    return found
