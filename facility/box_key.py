"""The key with which this box signs what it hands out: Ed25519, made at first use, kept in the data folder.

A signature by it says that this box held exactly these bytes. It does not say that what they tell is true.
"""

from __future__ import annotations

import hashlib
import os
import secrets
from pathlib import Path
from typing import TYPE_CHECKING, Final

from django.conf import settings

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

FILE: Final = "box-key"
BYTES: Final = 32


class BoxKeyError(ValueError):
    """The file of the key cannot be used; the text says what to do."""


def _path() -> Path:
    return Path(settings.DATA_DIR) / FILE


def private_key() -> Ed25519PrivateKey:
    """Return this box's key; the first call makes it, readable by its owner alone.

    Errors: BoxKeyError if the file is not a key.
    """
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey  # noqa: PLC0415  # megabytes

    path = _path()
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        _keep(path, Ed25519PrivateKey.generate().private_bytes_raw())
    raw = path.read_bytes()
    if len(raw) != BYTES:
        raise BoxKeyError(
            f"{path} holds {len(raw)} bytes; a key has {BYTES}. Put it back from a copy; do not make a new one unseen."
        )
    return Ed25519PrivateKey.from_private_bytes(raw)


def _keep(path: Path, raw: bytes) -> None:
    """Write the whole key or none; where another process was faster, its key stays."""
    unfinished = path.with_name(f"{FILE}-{secrets.token_hex(6)}")
    with os.fdopen(os.open(unfinished, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        file.write(raw)
        file.flush()
        os.fsync(file.fileno())
    try:
        os.link(unfinished, path)
    except FileExistsError:
        pass
    finally:
        unfinished.unlink()


def public_key() -> bytes:
    """Return the 32 bytes by which others check this box's signatures."""
    return private_key().public_key().public_bytes_raw()


def fingerprint(public: bytes) -> str:
    """Return the SHA-256 of a public key, as hexadecimal digits: what is printed and posted on a wall."""
    return hashlib.sha256(public).hexdigest()


def sign(label: bytes, content: bytes) -> bytes:
    """Return the signature of ``content`` for one purpose, told by ``label``: 64 bytes."""
    return private_key().sign(label + b"\0" + content)


def is_signed(label: bytes, content: bytes, signature: bytes, public: bytes) -> bool:
    """Return whether ``signature`` is that of ``content`` for this purpose, by the key ``public``."""
    from cryptography.exceptions import InvalidSignature  # noqa: PLC0415  # megabytes, needed only here
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey  # noqa: PLC0415  # as above

    try:
        Ed25519PublicKey.from_public_bytes(public).verify(signature, label + b"\0" + content)
    except (InvalidSignature, ValueError):
        return False
    return True
