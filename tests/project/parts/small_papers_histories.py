"""The papers on one thing, one person and one year."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from facility.access import Act

if TYPE_CHECKING:
    from facility.models import Site

#: whose the personal record is may print it too; none of the people of the walk is joined to an account
PAGES = {"small_papers:equipment": Act.SEE, "small_papers:personal": Act.PEOPLE, "small_papers:year_end": Act.SEE}


def rows(site: Site) -> dict[str, Any]:
    """Return one item and one person."""
    return {
        "small_papers:equipment": {"tag": site.equipment.all()[0].tag},
        "small_papers:personal": {"key": site.people.all()[0].key},
    }
