"""Notices to a push server: a plain text by POST to a topic's address, its title and rank in headers."""

from __future__ import annotations

import base64
from typing import TYPE_CHECKING, Final

from facility.models import NoticeKind
from facility.notices import outgoing

if TYPE_CHECKING:
    from facility.notices.parcel import Parcel

USUAL: Final = 3
RANKS: Final = {NoticeKind.CALL_OUT: 5, NoticeKind.UNANSWERED: 4, NoticeKind.READINESS: 4, NoticeKind.DIGEST: 2}
"""From 1, seen when one looks, to 5, which rings."""


def send(parcel: Parcel) -> None:
    """Post one notice; with a secret, that is the token that the server asks for.

    Errors: SendError.
    """
    headers = {
        "content-type": "text/plain; charset=utf-8",
        "title": header_text(f"{parcel.site_name}: {parcel.subject}"),
        "priority": str(RANKS.get(NoticeKind(parcel.kind), USUAL)),
        "idempotency-key": f'"{parcel.name}"',
    }
    if parcel.link.startswith(("http://", "https://")):
        headers["click"] = parcel.link
    if parcel.secret:
        headers["authorization"] = f"Bearer {parcel.secret}"
    text = f"{parcel.next_action}\n{parcel.made_at:%Y-%m-%d %H:%M %Z}"
    outgoing.post(parcel.address, headers, text.encode())


def header_text(text: str) -> str:
    """Return a text as one encoded word (RFC 2047) where it is not plain ASCII.

    >>> header_text("Trykk")
    'Trykk'
    >>> header_text("trykkmåler")
    '=?UTF-8?B?dHJ5a2ttw6VsZXI=?='
    """
    if text.isascii():
        return text
    return f"=?UTF-8?B?{base64.b64encode(text.encode()).decode()}?="
