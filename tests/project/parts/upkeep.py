"""What falls due: rules, counters, events, looks that put off, and rules of codes."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any

from facility.access import Act
from maintenance.models import IntervalRule
from tests.maintenance.upkeep import support

if TYPE_CHECKING:
    from facility.models import Site

PAGES = {
    "maintenance:due": Act.SEE, "maintenance:rule": Act.SEE, "maintenance:defer": Act.PLANT,
    "maintenance:add_happening": Act.PLANT, "maintenance:counters": Act.SEE, "maintenance:counter": Act.SEE,
    "maintenance:read_counter": Act.CHECK, "maintenance:replace_meter": Act.PLANT, "maintenance:requirements": Act.SEE,
    "maintenance:adopt": Act.RULES,
}  # fmt: skip
SENDING = {"maintenance:rule": Act.PLANT}


def rows(site: Site) -> dict[str, Any]:
    """Return a rule and a counter."""
    rule = IntervalRule.objects.filter(equipment__site=site)[0]
    counter = support.counter(site, per_run=Decimal(1))
    of_rule = {f"maintenance:{name}": rule for name in ("rule", "defer")}
    of_counter = {f"maintenance:{name}": counter for name in ("counter", "read_counter", "replace_meter")}
    return of_rule | of_counter | {"maintenance:adopt": {"key": "P1"}}
