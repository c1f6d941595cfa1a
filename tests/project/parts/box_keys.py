"""The keys of the box: no site's page, open to first accounts."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from facility.access import Act

if TYPE_CHECKING:
    from facility.models import Site

PAGES = dict.fromkeys(("box:keys", "box:look_at_log", "box:answer_fault", "box:new_key"), Act.ACCOUNTS)


def rows(site: Site) -> dict[str, Any]:
    """Return the use of a key."""
    return {"box:new_key": {"use": "log"}}
