"""Near misses and frozen records."""

from __future__ import annotations

from typing import Any

from facility import events
from facility.access import Act
from facility.models import Site
from tests import make
from treatments.models import Freeze, NearMiss
from treatments.reporting import freezing, near_misses

OPEN = {"treatments:report_near_miss"}
PAGES = {
    "treatments:near_misses": Act.SEE, "treatments:near_miss": Act.SEE, "treatments:freezes": Act.SEE,
    "treatments:freeze": Act.SIGN, "treatments:frozen": Act.SEE,
}  # fmt: skip
SENDING = {"treatments:near_miss": Act.SIGN}


def rows(site: Site) -> dict[str, Any]:
    """Return one existing thing for each page that asks for one."""
    found = near_misses.report(NearMiss(site=site, what="Lighter found"), by=None)
    frozen = freezing.freeze(Freeze(site=site, event_at=events.now(), why="Smoke"), by=make.BY)
    return {"treatments:near_miss": found, "treatments:frozen": frozen}
