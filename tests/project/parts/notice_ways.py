"""Ways of notices: one's own, the site's, and the log of what went out."""

from __future__ import annotations

from typing import Any

from facility.access import Act
from facility.models import NoticeWay, Site
from facility.notices import ways
from tests import make

PAGES = {
    "notices:ways": Act.SEE, "notices:way_log": Act.SEE, "notices:retire_way": Act.SEE, "notices:try_way": Act.SEE,
}  # fmt: skip


def rows(site: Site) -> dict[str, Any]:
    """Return a way that exists; nothing is sent on it, since no mail server is set up."""
    way = ways.add(NoticeWay(site=site, way="email", address="watch@example.org"), by=make.BY)
    return {"notices:retire_way": way, "notices:try_way": way}
