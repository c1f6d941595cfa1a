"""The jobs of the box: no site's page, open to first accounts."""

from __future__ import annotations

from typing import Any

from facility.access import Act
from facility.jobs.queue import Kind, enqueue
from facility.models import Site

PAGES = {"box:jobs": Act.ACCOUNTS, "box:run_again": Act.ACCOUNTS, "box:run_now": Act.ACCOUNTS}


def rows(_site: Site) -> dict[str, Any]:
    """Return a job."""
    return {"box:run_again": enqueue(Kind.TIDY)}
