"""What one delivery carries, taken out of the rows before the network is used."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING
from urllib.parse import urljoin
from zoneinfo import ZoneInfo

from django.conf import settings

if TYPE_CHECKING:
    from datetime import datetime

    from facility.models import Delivery


class SendError(Exception):
    """A message that did not go out; the text is for people and names no address.

    ``link_down``: the far side was not reached, so that other messages to it need not be tried now.
    ``final``: the far side will never take this message.
    """

    def __init__(self, words: str, *, link_down: bool = False, final: bool = False) -> None:
        super().__init__(words)
        self.link_down, self.final = link_down, final


@dataclass(frozen=True, slots=True)
class Parcel:
    """One notice for one way. ``name`` stays the same at each try, so that a second copy is known by it.

    ``made_at`` is on the site's clock.
    """

    name: str
    way: str
    way_number: int
    address: str
    secret: str
    kind: str
    site_key: str
    site_name: str
    subject: str
    body: str
    next_action: str
    link: str
    made_at: datetime


def packed(row: Delivery, box: str) -> Parcel:
    """Return what a delivery carries; its notice, way and site must be at hand."""
    notice, site = row.notice, row.notice.site
    return Parcel(
        name=f"{row.pk}.{box}", way=str(row.way.way), way_number=row.way_id, address=row.way.address,
        secret=row.way.secret, kind=str(notice.kind),
        site_key=site.key, site_name=one_line(site.name), subject=one_line(notice.subject), body=notice.body,
        next_action=one_line(notice.next_action), link=full_link(one_line(notice.link)),
        made_at=notice.made_at.astimezone(ZoneInfo(site.zone)),
    )  # fmt: skip


def full_link(link: str) -> str:
    """Return a page's address as seen from outside; the bare path where the box does not know its own address."""
    return urljoin(settings.OWN_ADDRESS, link) if settings.OWN_ADDRESS and link else link


def with_links(text: str, site_key: str) -> str:
    """Return a text with a site's pages as addresses that can be followed from outside."""
    return re.sub(rf"(?<!\S)/{re.escape(site_key)}/", full_link(f"/{site_key}/"), text)


def one_line(text: str) -> str:
    r"""Return a text on one line and without control characters: it may become a header.

    >>> one_line("a\r\nBcc: b\x00")
    'a Bcc: b'
    """
    return " ".join("".join(letter if letter.isprintable() else " " for letter in text).split())
