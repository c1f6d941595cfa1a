"""What a run computes: its page, the JSON of it and its picture."""

from __future__ import annotations

from typing import Any

from facility import services
from facility.access import Act
from facility.models import Site
from tests import make
from treatments.models import Plan, Run

PAGES = {"treatments:figures": Act.SEE, "treatments:figures_json": Act.SEE, "treatments:picture": Act.SEE}


def rows(site: Site) -> dict[str, Any]:
    """Return a run that ended."""
    chamber = site.chambers.get()
    plan = Plan.objects.current().filter(chamber=chamber)[0]
    run = Run(
        chamber=chamber, number=9001, purpose="test", plan=plan, started_at=make.NOON, planned_end_at=make.NOON,
        ended_at=make.NOON, supervisor="Ina Test",
    )  # fmt: skip
    stored = services.add(run, by=make.BY)
    return dict.fromkeys(PAGES, stored)
