"""The hash chain of events."""

from __future__ import annotations

import hashlib

LABEL = b"deepstead event v1"
GENESIS = bytes(32)


def chain_digest(prev: bytes, payload: str) -> bytes:
    """Return SHA-256 over label, NUL, the previous digest and the payload's UTF-8 bytes."""
    return hashlib.sha256(LABEL + b"\0" + prev + payload.encode("utf-8")).digest()
