"""What somebody does who holds a pack and a key of their own, but not the key of the box."""

from __future__ import annotations

import base64
import hashlib
import json
from typing import TYPE_CHECKING, Any

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from facility.compute import note, tree
from facility.pack import bag, layout

if TYPE_CHECKING:
    from pathlib import Path

THEIRS = Ed25519PrivateKey.from_private_bytes(hashlib.sha256(b"somebody else").digest())
PUBLIC = THEIRS.public_key().public_bytes_raw()
FINGERPRINT = hashlib.sha256(PUBLIC).hexdigest()
ROW: dict[str, Any] = {
    "use": "log", "public_hex": PUBLIC.hex(), "public_pem": "", "fingerprint": FINGERPRINT, "passed_on": None,
    "in_use_from": "2026-01-01T00:00:00+00:00", "in_use_until": None,
}  # fmt: skip


def list_anew(root: Path) -> None:
    """Make both manifests fit what lies there."""
    names = bag.members(root)
    (root / layout.MANIFEST).write_text(bag.manifest(root, [one for one in names if one.startswith("data/")]))
    tags = sorted([layout.BAGIT, layout.BAG_INFO, layout.MANIFEST, *layout.VERIFIERS])
    (root / layout.TAG_MANIFEST).write_text(bag.manifest(root, tags))


def sign_anew(root: Path, *, keep: bool = False) -> None:
    """Put their own key, head and signature in the place of those of the box; ``keep``: leave its keys in the list."""
    before = json.loads((root / layout.KEYS).read_text()) if keep else []
    (root / layout.KEYS).write_text(json.dumps([*before, ROW]))
    for path in (root / "data/checkpoints").glob("*"):
        path.unlink()
    name = (root / layout.HEAD).read_text().split("\n")[0]
    leaves = [bytes.fromhex(one) for one in (root / layout.LEAVES).read_text().split()]
    (root / layout.HEAD).write_text(head(name, len(leaves), tree.root(leaves)))
    seal_anew(root)


def seal_anew(root: Path) -> None:
    """Make the manifests anew and sign them with their own key."""
    list_anew(root)
    signed = THEIRS.sign(layout.LABEL + b"\0" + (root / layout.TAG_MANIFEST).read_bytes())
    (root / layout.SIGNATURE).write_text(base64.b64encode(signed).decode())


def head(name: str, size: int, root: bytes) -> str:
    """Return a head of a log, signed by them."""
    text = note.checkpoint_text(name, size, root)
    return note.signed(text, name, PUBLIC, THEIRS.sign(text.encode()))
