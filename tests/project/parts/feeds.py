"""Calendars: the page of a site, and the addresses that need no account but a secret."""

from __future__ import annotations

from typing import Any

from facility.access import Act
from facility.feeds import services
from facility.models import FeedSort, Site
from tests import make

PAGES = {"feeds:calendars": Act.SEE, "feeds:revoke": Act.SEE}
OPEN = {"feeds:calendar"}


def rows(site: Site) -> dict[str, Any]:
    """Return an address that exists, and a secret that opens nothing."""
    row, _secret = services.make(site, make.user(site, "tender"), FeedSort.SITE, by=make.BY)
    return {"feeds:revoke": row, "feeds:calendar": {"secret": "nothing"}}
