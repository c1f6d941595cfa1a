"""The sealed file: AES-256-GCM in parts, so that a file of any size takes little memory.

Layout, all numbers big-endian::

    head   67 bytes  "Deepstead backup 1\\n", key number 8, salt 32, check 8
    part n           up to 1 048 576 bytes, encrypted, then a tag of 16 bytes

``check`` is the start of the SHA-256 of the head before it: it tells damage from a wrong key.
The key of one file is HKDF-SHA256 (RFC 5869) of the backup key with the salt and the info
``deepstead backup 1``. The nonce of a part is 7 bytes 00, its number from 0 in 4 bytes, and 01 in
the last part, else 00; the whole head is authenticated with each part. So no part can be changed,
left out, moved, doubled or taken from another file, and a file that was cut off is known as such.
Sources: AES-GCM, NIST SP 800-38D; parts with a number and a last mark, the STREAM construction of
Hoang, Reyhanitabar, Rogaway and Vizár, 2015 (from memory).
"""

from __future__ import annotations

import hashlib
import secrets
from typing import TYPE_CHECKING, BinaryIO, Final

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from django.utils.translation import gettext as _

from facility.backup.faults import BackupError

if TYPE_CHECKING:
    from pathlib import Path

    from facility.backup.keys import Key

MAGIC: Final = b"Deepstead backup 1\n"
INFO: Final = b"deepstead backup 1"
NUMBER, SALT, CHECK, TAG = 8, 32, 8, 16
HEAD: Final = len(MAGIC) + NUMBER + SALT + CHECK
PART: Final = 1024 * 1024


def _cipher(key: Key, salt: bytes) -> AESGCM:
    return AESGCM(HKDF(algorithm=SHA256(), length=32, salt=salt, info=INFO).derive(key.secret))


def _nonce(number: int, *, last: bool) -> bytes:
    return bytes(7) + number.to_bytes(4, "big") + bytes([last])


class Sealer:
    """Takes bytes in order and writes them sealed; ``close()`` writes the last part."""

    def __init__(self, target: BinaryIO, key: Key) -> None:
        salt = secrets.token_bytes(SALT)
        head = MAGIC + key.number + salt
        self._head = head + hashlib.sha256(head).digest()[:CHECK]
        self._cipher = _cipher(key, salt)
        self._target = target
        self._waiting = bytearray()
        self._number = 0
        target.write(self._head)

    def write(self, data: bytes) -> int:
        """Take bytes in."""
        self._waiting += data
        while len(self._waiting) > PART:
            self._put(PART, last=False)
        return len(data)

    def flush(self) -> None:
        """Do nothing: a part is written when it is full."""

    def close(self) -> None:
        """Write what is left as the last part; the target stays open."""
        self._put(len(self._waiting), last=True)

    def _put(self, size: int, *, last: bool) -> None:
        nonce = _nonce(self._number, last=last)
        self._target.write(self._cipher.encrypt(nonce, bytes(self._waiting[:size]), self._head))
        del self._waiting[:size]
        self._number += 1


def unseal(source: BinaryIO, key: Key, target: BinaryIO) -> None:
    """Write the plain bytes of a sealed file to ``target``; they count only if this returns.

    Errors: BackupError for a file that is none, was sealed with another key, was changed (naming
    the part and its bytes) or was cut off.
    """
    head = source.read(HEAD)
    _check_head(head, key)
    cipher = _cipher(key, head[len(MAGIC) + NUMBER : HEAD - CHECK])
    number, block = 0, source.read(PART + TAG)
    while True:
        following = source.read(PART + TAG)
        target.write(_opened(cipher, head, number, block, last=not following))
        if not following:
            return
        number, block = number + 1, following


def key_number_of(path: Path) -> bytes | None:
    """Return the number of the key that a file was sealed with; None for a file that is no backup."""
    with path.open("rb") as file:
        head = file.read(len(MAGIC) + NUMBER)
    return head[len(MAGIC) :] if head.startswith(MAGIC) and len(head) == len(MAGIC) + NUMBER else None


def _check_head(head: bytes, key: Key) -> None:
    if not head.startswith(MAGIC):
        raise BackupError(_("This is no backup of Deepstead, or its first bytes were changed. Choose another file."))
    if len(head) < HEAD or head[-CHECK:] != hashlib.sha256(head[:-CHECK]).digest()[:CHECK]:
        raise BackupError(
            _("The head of the backup (bytes 0 to %(last)d) was changed or cut off. Use another copy.")
            % {"last": HEAD - 1}
        )
    number = head[len(MAGIC) : len(MAGIC) + NUMBER]
    if number != key.number:
        raise BackupError(
            _(
                "Wrong key: the backup was sealed with key %(needed)s, the one given is %(given)s. Give its key by --key."
            )
            % {"needed": number.hex(), "given": key.number.hex()}
        )


def _opened(cipher: AESGCM, head: bytes, number: int, block: bytes, *, last: bool) -> bytes:
    try:
        return cipher.decrypt(_nonce(number, last=last), block, head)
    except InvalidTag:
        pass
    first = HEAD + number * (PART + TAG)
    place = {"part": number + 1, "first": first, "last": first + max(len(block), 1) - 1}
    if last and (len(block) < TAG or _is_whole(cipher, head, number, block)):
        raise BackupError(
            _("The backup ends too early, in or after part %(part)d (byte %(last)d): it was cut off. Use another copy.")
            % place
        )
    raise BackupError(
        _("Part %(part)d of the backup (bytes %(first)d to %(last)d) was changed or damaged. Use another copy.") % place
    )


def _is_whole(cipher: AESGCM, head: bytes, number: int, block: bytes) -> bool:
    """Return whether a part at the end of the file was sealed as one that others follow."""
    try:
        cipher.decrypt(_nonce(number, last=False), block, head)
    except InvalidTag:
        return False
    return True
