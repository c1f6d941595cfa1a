"""The sealed file: what was put in comes out, and nothing else is ever taken for it."""

from __future__ import annotations

import hashlib
import hmac
import io
import secrets

import pytest
from cryptography.hazmat.primitives.ciphers.aead import AESGCM

from facility.backup.faults import BackupError
from facility.backup.keys import Key
from facility.backup.sealing import HEAD, PART, TAG, Sealer, unseal
from tests.backup.kit import KEY

OTHER = Key(bytes(32))
WHOLE = PART + TAG  # bytes of a full part in the file


def seal(content: bytes, *, piece: int = 100_000, key: Key = KEY) -> bytes:
    target = io.BytesIO()
    sealer = Sealer(target, key)
    for start in range(0, len(content), piece):
        sealer.write(content[start : start + piece])
    sealer.close()
    return target.getvalue()


def open_again(sealed: bytes, key: Key = KEY) -> bytes:
    target = io.BytesIO()
    unseal(io.BytesIO(sealed), key, target)
    return target.getvalue()


def test_what_was_sealed_is_read_again_at_every_length_around_a_part() -> None:
    for size in (0, 1, PART - 1, PART, PART + 1, 2 * PART, 2 * PART + 5):
        content = secrets.token_bytes(size)
        assert open_again(seal(content)) == content, size


def test_the_file_is_what_its_description_says() -> None:
    """Opened here by the description alone, with HMAC for the derived key.

    Source: HKDF as in RFC 5869, sections 2.2 and 2.3 (extract, then one block of expand, since one SHA-256 is enough).
    """
    content = secrets.token_bytes(PART + 77)
    sealed = seal(content)
    head, body = sealed[:67], sealed[67:]
    assert head[:19] == b"Deepstead backup 1\n"
    assert head[19:27] == hashlib.sha256(b"deepstead backup key number\0" + KEY.secret).digest()[:8]
    assert head[59:67] == hashlib.sha256(head[:59]).digest()[:8]
    extracted = hmac.digest(head[27:59], KEY.secret, "sha256")
    derived = hmac.digest(extracted, b"deepstead backup 1\x01", "sha256")
    first = AESGCM(derived).decrypt(bytes(12), body[: 1_048_576 + 16], head)
    last = AESGCM(derived).decrypt(bytes(10) + b"\x01\x01", body[1_048_576 + 16 :], head)
    assert first + last == content


def test_one_content_is_never_sealed_to_the_same_bytes_twice() -> None:
    first, second = seal(b"the same"), seal(b"the same")
    assert first[HEAD:] != second[HEAD:]


@pytest.mark.parametrize(
    ("place", "named"),
    [
        (0, "no backup of Deepstead"),
        (20, "head of the backup .bytes 0 to 66. was changed"),
        (40, "head of the backup"),
        (66, "head of the backup"),
        (HEAD, "Part 1 of the backup .bytes 67 to 1048658. was changed"),
        (HEAD + WHOLE - 1, "Part 1 of the backup"),
        (HEAD + WHOLE, "Part 2 of the backup .bytes 1048659 to 2097250. was changed"),
        (-1, "Part 3 of the backup"),
    ],
)
@pytest.mark.parametrize("bit", [1, 128])
def test_a_flipped_bit_is_refused_and_its_place_named(place: int, named: str, bit: int) -> None:
    damaged = bytearray(seal(bytes(2 * PART + 100)))
    damaged[place] ^= bit
    with pytest.raises(BackupError, match=named):
        open_again(bytes(damaged))


def test_a_wrong_key_is_told_from_damage_and_both_numbers_are_named() -> None:
    with pytest.raises(BackupError, match=f"Wrong key.*{KEY.number.hex()}.*{OTHER.number.hex()}"):
        open_again(seal(b"x"), OTHER)


@pytest.mark.parametrize("length", [HEAD, HEAD + 1, HEAD + WHOLE, HEAD + WHOLE + 5, HEAD + 2 * WHOLE])
def test_a_file_that_was_cut_off_is_refused(length: int) -> None:
    with pytest.raises(BackupError, match="cut off|was changed or damaged"):
        open_again(seal(bytes(2 * PART + 100))[:length])


def test_a_file_cut_between_two_parts_is_called_cut_off() -> None:
    with pytest.raises(BackupError, match="ends too early, in or after part 2 .*cut off"):
        open_again(seal(bytes(2 * PART + 100))[: HEAD + 2 * WHOLE])


def test_parts_cannot_be_moved_doubled_left_out_or_taken_from_another_file() -> None:
    sealed, other = seal(bytes(2 * PART + 100)), seal(bytes(2 * PART + 100))
    head, one, two, last = (
        sealed[:HEAD],
        sealed[HEAD:][:WHOLE],
        sealed[HEAD + WHOLE :][:WHOLE],
        sealed[HEAD + 2 * WHOLE :],
    )
    for wrong in (two + one + last, one + one + two + last, one + last, one + other[HEAD + WHOLE :][:WHOLE] + last):
        with pytest.raises(BackupError, match="was changed or damaged"):
            open_again(head + wrong)
    with pytest.raises(BackupError, match="was changed or damaged"):
        open_again(sealed + b"x")
