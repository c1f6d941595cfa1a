"""The smaller papers."""

from __future__ import annotations

from typing import Any

from facility.access import Act
from facility.models import Check, Site

PAGES = {
    "small_papers:papers": Act.SEE, "small_papers:due": Act.SEE, "small_papers:wall": Act.SEE, "small_papers:check": Act.SEE,
}  # fmt: skip


def rows(site: Site) -> dict[str, Any]:
    """Return a check of the site."""
    return {"small_papers:check": Check.objects.filter(sheet__chamber__site=site)[0]}
