"""The hash chain of events.

The digest of an event is the SHA-256 (FIPS 180-4) of these bytes, one after the other:

1. the ASCII bytes ``deepstead event v1`` and one byte 00;
2. the 32 bytes of the digest of the event before (32 bytes 00 for the first event);
3. the stored text of the event in UTF-8, exactly as stored: never parsed and written again.

So anyone can verify a log with a plain checksum program. With ``prev`` as hex digits:
``{ printf 'deepstead event v1\\0'; printf PREV | xxd -r -p; cat event.json; } | sha256sum``

A chain shows that nothing *inside* it was changed, left out or put in. It cannot show that its
end was cut off, or that it was built anew from some event on: that takes a count and a head
that were noted outside (see ``checkpoint_fault``).
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from enum import StrEnum

LABEL = b"deepstead event v1"
GENESIS = bytes(32)


def chain_digest(prev: bytes, payload: str) -> bytes:
    """Return SHA-256 over label, NUL, the previous digest and the payload's UTF-8 bytes.

    >>> chain_digest(GENESIS, "{}") == hashlib.sha256(b"deepstead event v1" + bytes(33) + b"{}").digest()
    True
    """
    return hashlib.sha256(LABEL + b"\0" + prev + payload.encode("utf-8")).digest()


@dataclass(frozen=True, slots=True)
class Head:
    """Where a chain stands: how many events, and the digest of the newest."""

    count: int = 0
    digest: bytes = GENESIS


@dataclass(frozen=True, slots=True)
class Link:
    """One stored event as the chain sees it."""

    seq: int
    payload: str
    prev: bytes
    digest: bytes


class ChainFault(StrEnum):
    """What can be wrong with one link."""

    GAP = "gap"
    PREV = "prev"
    DIGEST = "digest"
    SHORTER = "shorter"
    OTHER_HEAD = "other head"


def link_fault(head: Head, link: Link) -> ChainFault | None:
    """Return what is wrong with the event that follows ``head``, or None.

    >>> first = Link(1, "{}", GENESIS, chain_digest(GENESIS, "{}"))
    >>> link_fault(Head(), first) is None
    True
    >>> link_fault(Head(), Link(2, "{}", GENESIS, first.digest))
    <ChainFault.GAP: 'gap'>
    """
    if link.seq != head.count + 1:
        return ChainFault.GAP
    if link.prev != head.digest:
        return ChainFault.PREV
    if link.digest != chain_digest(link.prev, link.payload):
        return ChainFault.DIGEST
    return None


def checkpoint_fault(noted: Head, *, count: int, digest_there: bytes | None) -> ChainFault | None:
    """Return how a log contradicts a count and head that were noted outside, or None.

    ``count`` is the log's length now, ``digest_there`` the digest of its event number ``noted.count``.
    """
    if count < noted.count:
        return ChainFault.SHORTER
    if noted.count and digest_there != noted.digest:
        return ChainFault.OTHER_HEAD
    return None
