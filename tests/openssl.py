"""Ed25519 signatures looked at by OpenSSL 3, a program that is not ours."""

from __future__ import annotations

import subprocess
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

#: as its handbook page pkeyutl tells: the raw text, no digest of it
LINE = [
    "openssl",
    "pkeyutl",
    "-verify",
    "-pubin",
    "-inkey",
    "key.pem",
    "-rawin",
    "-in",
    "text",
    "-sigfile",
    "signature",
]


def accepts(folder: Path, text: bytes, signature: bytes, key: str) -> bool:
    """Return whether OpenSSL takes a signature of a text by a public key in PEM. Its files are written to the folder."""
    (folder / "text").write_bytes(text)
    (folder / "signature").write_bytes(signature)
    (folder / "key.pem").write_text(key, encoding="ascii")
    return subprocess.run(LINE, cwd=folder, capture_output=True, check=False).returncode == 0
