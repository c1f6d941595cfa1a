"""The house rules in force at a site."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from facility.models import HouseRule
from facility.reference import house_rule_definitions

if TYPE_CHECKING:
    from collections.abc import Iterable
    from decimal import Decimal

    from facility.models import Site


def values(site: Site) -> dict[str, Decimal]:
    """Return each rule's value at ``site``: the version in force, or the default."""
    return values_of([site.pk])[site.pk]


def values_of(site_ids: Iterable[int]) -> dict[int, dict[str, Decimal]]:
    """Return the rules of many sites in one query."""
    set_by_site: dict[int, dict[str, Decimal]] = defaultdict(dict)
    wanted = list(site_ids)
    rows = HouseRule.objects.filter(site__in=wanted, retired_at=None).values_list("site_id", "key", "value")
    for site_id, key, value in rows:
        set_by_site[site_id][key] = value
    defaults = {name: rule.number for name, rule in house_rule_definitions().items()}
    return {site_id: {**defaults, **set_by_site[site_id]} for site_id in wanted}
