"""The key of the backups: 32 random bytes, kept in the data folder and on paper as 24 words.

The words are those of BIP-39 (English list, 256 bits and 8 bits of checksum), so that a word
typed wrongly is found before the key is tried.
"""

from __future__ import annotations

import hashlib
import os
import re
import secrets
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from django.utils.translation import gettext as _
from mnemonic import Mnemonic

from facility.backup.faults import BackupError

if TYPE_CHECKING:
    from pathlib import Path

FILE: Final = "backup-key"
BYTES: Final = 32
WORDS: Final = 24
LABEL: Final = b"deepstead backup key number\0"
HEX: Final = re.compile(r"[0-9a-fA-F]{64}")


@dataclass(frozen=True, slots=True)
class Key:
    """A key. Printing it shows its number only, never the key."""

    secret: bytes

    @property
    def number(self) -> bytes:
        """Eight bytes that name the key and do not tell it: written into each file it seals."""
        return hashlib.sha256(LABEL + self.secret).digest()[:8]

    @property
    def words(self) -> str:
        """The 24 words of the key, for paper."""
        return str(Mnemonic("english").to_mnemonic(self.secret))

    def __repr__(self) -> str:
        return f"Key(number {self.number.hex()})"

    __str__ = __repr__


def parse(text: str, *, source: str) -> Key:
    """Return the key that a text holds: 64 hex digits or 24 words, which may be numbered as they are printed.

    Errors: BackupError naming ``source`` and the word or length that is wrong.
    """
    plain = " ".join(text.lower().split())
    if HEX.fullmatch(plain):
        return Key(bytes.fromhex(plain))
    words = [word for word in plain.split() if not word.isdigit()]
    plain = " ".join(words)
    if len(words) != WORDS:
        raise BackupError(
            _("%(source)s holds no key: a key is 24 words or 64 hex digits, here are %(count)d words.")
            % {"source": source, "count": len(words)}
        )
    known = Mnemonic("english")
    strange = [str(place) for place, word in enumerate(words, 1) if word not in known.wordlist]
    if strange:
        raise BackupError(
            _("%(source)s: the words number %(places)s are not words of a key. Compare them with the paper.")
            % {"source": source, "places": ", ".join(strange)}
        )
    if not known.check(plain):
        raise BackupError(
            _("%(source)s: each word is known, but together they are no key: one is wrong or out of order.")
            % {"source": source}
        )
    return Key(bytes(known.to_entropy(plain)))


def from_file(path: Path) -> Key:
    """Return the key in a file. Errors: BackupError if it cannot be read or holds none."""
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or _("it is not text")
        raise BackupError(
            _("The key file %(path)s cannot be read: %(reason)s.") % {"path": path, "reason": reason}
        ) from error
    return parse(text, source=str(path))


def of_folder(folder: Path) -> Key | None:
    """Return the key that lies in a data folder, or None. Errors: BackupError if it is damaged."""
    path = folder / FILE
    return from_file(path) if path.is_file() else None


def made_in(folder: Path) -> Key:
    """Return the key of a data folder, made at first use."""
    found = of_folder(folder)
    if found is None:
        keep(Key(secrets.token_bytes(BYTES)), folder)
        found = of_folder(folder)
    if found is None:
        raise BackupError(_("The key could not be kept in %(folder)s.") % {"folder": folder})
    return found


def keep(key: Key, folder: Path) -> None:
    """Write a key into a data folder, readable by its owner only; a key that is there already stays."""
    unfinished = folder / f".{FILE}-{secrets.token_hex(6)}"
    try:
        handle = os.open(unfinished, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(key.secret.hex() + "\n")
            file.flush()
            os.fsync(file.fileno())
        (folder / FILE).hardlink_to(unfinished)
    except FileExistsError:
        return
    finally:
        unfinished.unlink(missing_ok=True)
