"""Signed heads of a log as text: the signed note and the checkpoint of C2SP (signed-note.md, tlog-checkpoint.md).

The text of a checkpoint is three lines: origin, number of leaves in decimal, root in base64. A note is a text, an
empty line, and for each signature a line of an em dash, the name of the key and the base64 of four bytes of key
id and the signature. The signature is over the text with its last line end and nothing else.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
from dataclasses import dataclass

ED25519 = b"\x01"
DASH = "\u2014 "
KEY_ID_BYTES = 4
ROOT_BYTES = 32
LEAST_LINES = 3


class NoteError(ValueError):
    """A text that is no signed note of a log's head; says what is wrong with it."""


@dataclass(frozen=True, slots=True)
class Note:
    """A note taken apart. ``signatures``: name of the key, its id and the bytes of each signature."""

    text: str
    origin: str
    size: int
    root: bytes
    signatures: tuple[tuple[str, bytes, bytes], ...]


def checkpoint_text(origin: str, size: int, root: bytes) -> str:
    r"""Return the text of a head.

    >>> checkpoint_text("deepstead/00", 1, bytes(3))
    'deepstead/00\n1\nAAAA\n'
    """
    return f"{origin}\n{size}\n{base64.b64encode(root).decode()}\n"


def key_id(name: str, public: bytes) -> bytes:
    """Return the four bytes by which a signature tells its Ed25519 key."""
    return hashlib.sha256(name.encode() + b"\n" + ED25519 + public).digest()[:KEY_ID_BYTES]


def signed(text: str, name: str, public: bytes, signature: bytes) -> str:
    """Return the note of a text and its signature.

    Errors: NoteError if text or name cannot be told apart from what stands round it.
    """
    if not text.endswith("\n"):
        raise NoteError("The text of a note ends with a line end.")
    if not name or "+" in name or any(letter.isspace() for letter in name):
        raise NoteError(f"The name {name!r} of a key is not empty and holds neither spaces nor a plus sign.")
    return f"{text}\n{DASH}{name} {base64.b64encode(key_id(name, public) + signature).decode()}\n"


def parse(note: str) -> Note:
    """Take a note apart.

    Errors: NoteError naming the line that is not as it should be.
    """
    head, gap, tail = note.rpartition("\n\n")
    if not gap or not tail.endswith("\n"):
        raise NoteError("There is no empty line before the signatures, or the last line is not ended.")
    if any(ord(letter) < ord(" ") and letter != "\n" for letter in note):
        raise NoteError("A note holds no control characters but line ends.")
    lines = head.split("\n")
    if len(lines) < LEAST_LINES:
        raise NoteError(f"A head has at least {LEAST_LINES} lines: origin, size, root. This one has {len(lines)}.")
    origin, size, root = lines[:LEAST_LINES]
    if not origin:
        raise NoteError("Line 1, the origin, is empty.")
    if not (size.isascii() and size.isdigit()) or (len(size) > 1 and size[0] == "0"):
        raise NoteError(f"Line 2, the size, is {size!r}: write it in decimal digits without leading noughts.")
    if len(_bytes(root, "Line 3, the root,")) != ROOT_BYTES:
        raise NoteError(f"Line 3, the root, is not {ROOT_BYTES} bytes long.")
    found = tuple(_signature(line) for line in tail[:-1].split("\n"))
    return Note(f"{head}\n", origin, int(size), _bytes(root, "Line 3, the root,"), found)


def _signature(line: str) -> tuple[str, bytes, bytes]:
    name, gap, code = line.removeprefix(DASH).partition(" ")
    if not line.startswith(DASH) or not name or not gap:
        raise NoteError(f"The line {line!r} is no signature: it is an em dash, a name and base64.")
    raw = _bytes(code, f"The signature of {name}")
    if len(raw) <= KEY_ID_BYTES:
        raise NoteError(f"The signature of {name} is too short.")
    return name, raw[:KEY_ID_BYTES], raw[KEY_ID_BYTES:]


def _bytes(code: str, what: str) -> bytes:
    try:
        return base64.b64decode(code, validate=True)
    except binascii.Error as error:
        raise NoteError(f"{what} is not base64: {code!r}.") from error
