"""The papers on one thing, one person and one year."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from facility.access import Act

if TYPE_CHECKING:
    from facility.models import Site

PAGES = {"small_papers:equipment": Act.SEE, "small_papers:personal": Act.SEE, "small_papers:year_end": Act.SEE}


def rows(site: Site) -> dict[str, Any]:
    """Return one item."""
    return {"small_papers:equipment": {"tag": site.equipment.all()[0].tag}}
