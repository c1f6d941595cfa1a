"""Plan and budget, and the page of one item."""

from __future__ import annotations

from typing import Any

from facility.access import Act
from facility.models import Site

PAGES = {"maintenance:plan_ahead": Act.SEE, "maintenance:item": Act.SEE}


def rows(site: Site) -> dict[str, Any]:
    """Return one existing item."""
    return {"maintenance:item": site.equipment.all()[0]}
