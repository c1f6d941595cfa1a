"""Notices as signed JSON: RFC 9421 (hmac-sha256), Content-Digest (RFC 9530), and an Idempotency-Key.

The key is the way's secret as UTF-8. What is sent says what to do next and where to look, never more.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Final

from facility import events
from facility.compute.signed_message import content_digest, signed
from facility.notices import outgoing

if TYPE_CHECKING:
    from facility.notices.parcel import Parcel

CONTENT_TYPE: Final = "application/json"


def body_of(parcel: Parcel) -> bytes:
    """Return the JSON text of a notice."""
    told = {
        "kind": parcel.kind, "site": parcel.site_key, "subject": parcel.subject, "next_action": parcel.next_action,
        "link": parcel.link, "made_at": parcel.made_at.isoformat(),
    }  # fmt: skip
    return json.dumps(told, ensure_ascii=False, separators=(",", ":")).encode()


def send(parcel: Parcel) -> None:
    """Post one notice. The same name at each try lets the far side drop a second copy.

    Errors: SendError.
    """
    body = body_of(parcel)
    headers = {
        "content-type": CONTENT_TYPE, "content-digest": content_digest(body), "idempotency-key": f'"{parcel.name}"',
    }  # fmt: skip
    created = int(events.now().timestamp())
    headers |= signed(
        parcel.address, headers, key=parcel.secret.encode(), key_id=f"way-{parcel.way_number}", created=created
    )
    outgoing.post(parcel.address, headers, body)
