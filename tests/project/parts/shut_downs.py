"""Planned shut-downs."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from facility import events
from facility.access import Act
from facility.models import ShutDown, Site
from facility.readiness.shut_downs import services
from tests import make

PAGES = {"readiness:shut_downs": Act.SEE, "readiness:take_back_shut_down": Act.PLANT}
SENDING = {"readiness:shut_downs": Act.PLANT}


def rows(site: Site) -> dict[str, Any]:
    """Return a shut-down far ahead."""
    start = events.now() + timedelta(days=300)
    row = ShutDown(chamber=site.chambers.get(), starts_at=start, ends_at=start + timedelta(hours=4), why="windows out")
    return {"readiness:take_back_shut_down": services.plan(row, by=make.BY)}
