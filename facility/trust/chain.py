"""How each key came into use, and whether the signatures that say so hold: for the page of keys."""

from __future__ import annotations

import base64
from dataclasses import dataclass
from typing import TYPE_CHECKING

from facility.models import KeyUse
from facility.trust import keys

if TYPE_CHECKING:
    from facility.trust.keys import PublicKey

GROUP = 4


@dataclass(frozen=True, slots=True)
class Link:
    """One key. ``old``: fingerprint of the one before it, which signed it on unless ``broken``; ``holds``: all signatures do."""

    key: PublicKey
    old: str
    vouched_by: str
    broken: bool
    holds: bool


def links() -> list[Link]:
    """Return every key there ever was, the oldest first, with how it came into use."""
    found = keys.all_public()
    by_print = {key.fingerprint: key for key in found}
    return [_link(key, by_print) for key in found]


def is_broken(found: list[Link]) -> bool:
    """Return whether a key of the log was lost once, so that its successor is signed on by nobody."""
    return any(link.broken and link.key.use == KeyUse.LOG for link in found)


def _link(key: PublicKey, known: dict[str, PublicKey]) -> Link:
    told = key.passed_on
    if told is None:
        return Link(key, "", "", broken=False, holds=key.use == KeyUse.LOG)
    lines = dict(line.split(": ", 1) for line in told["text"].splitlines()[1:])
    old = "" if lines.get("old") == "none" else lines.get("old", "")
    signers = [
        (key, "new_signature"),
        (known.get(old), "old_signature"),
        (known.get(told.get("log_fingerprint", "")), "log_signature"),
    ]
    needed = {name for _signer, name in signers if name in told} | _needed(told, old)
    holds = lines.get("new") == key.fingerprint and all(
        _signed(signer, told.get(name, ""), told["text"]) for signer, name in signers if name in needed
    )
    return Link(key, old, told.get("log_fingerprint", ""), broken="broken" in told, holds=holds)


def _needed(told: dict[str, str], old: str) -> set[str]:
    """Return the signatures that must be there: of the first seal only the log's, of a successor both, of a lost one's the new."""
    if not old:
        return {"log_signature"}
    return {"new_signature"} if "broken" in told else {"old_signature", "new_signature"}


def _signed(signer: PublicKey | None, signature: str, text: str) -> bool:
    from cryptography import x509  # noqa: PLC0415  # megabytes, needed only here
    from cryptography.exceptions import InvalidSignature  # noqa: PLC0415  # as above
    from cryptography.hazmat.primitives.asymmetric.ec import ECDSA, EllipticCurvePublicKey  # noqa: PLC0415  # as above
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey  # noqa: PLC0415  # as above
    from cryptography.hazmat.primitives.hashes import SHA256  # noqa: PLC0415  # as above

    if signer is None:
        return False
    content = keys.LABEL + b"\0" + text.encode()
    try:
        raw = base64.b64decode(signature, validate=True)
        if signer.use == KeyUse.LOG:
            Ed25519PublicKey.from_public_bytes(bytes.fromhex(signer.public_hex)).verify(raw, content)
            return True
        public = x509.load_pem_x509_certificate(signer.public_pem.encode()).public_key()
        if isinstance(public, EllipticCurvePublicKey):
            public.verify(raw, content, ECDSA(SHA256()))
            return True
    except (InvalidSignature, ValueError):
        return False
    return False


def grouped(fingerprint: str) -> str:
    """Return a fingerprint in groups of four, to be read out and compared by eye.

    >>> grouped("0123456789ab")
    '0123 4567 89ab'
    """
    return " ".join(fingerprint[at : at + GROUP] for at in range(0, len(fingerprint), GROUP))
