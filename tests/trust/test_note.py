"""Signed heads as text, as the documents of C2SP tell (signed-note.md, tlog-checkpoint.md)."""

from __future__ import annotations

import base64

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from facility.compute import note

# The example of the documentation of the Go package golang.org/x/mod/sumdb/note, which signed-note.md follows; from
# memory. Its key id and signature are checked below by another library, so a slip of memory would show.
PUBLIC = base64.b64decode("ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW")
TEXT = "If you think cryptography is the answer to your problem,\nthen you don't know what your problem is.\n"
LINE = "PeterNeumann x08go/ZJkuBS9UG/SffcvIAQxVBtiFupLLr8pAcElZInNIuGUgYN1FFYC2pZSNXgKvqfqdngotpRZb6KE6RyyBwJnAM="


def test_the_published_example_has_our_key_id_and_text() -> None:
    assert PUBLIC[:1] == note.ED25519
    key, raw = PUBLIC[1:], base64.b64decode(LINE.split()[1])
    assert note.key_id("PeterNeumann", key) == bytes.fromhex("c74f20a3") == raw[:4]
    Ed25519PublicKey.from_public_bytes(key).verify(raw[4:], TEXT.encode())
    assert note.signed(TEXT, "PeterNeumann", key, raw[4:]) == f"{TEXT}\n\u2014 {LINE}\n"


def a_note() -> str:
    key = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
    text = note.checkpoint_text("deepstead/0011223344556677", 42, bytes(32))
    return note.signed(text, "deepstead/0011223344556677", key.public_key().public_bytes_raw(), key.sign(text.encode()))


def test_a_note_comes_back_as_it_was_written() -> None:
    found = note.parse(a_note())
    assert (found.origin, found.size, found.root) == ("deepstead/0011223344556677", 42, bytes(32))
    assert found.text == note.checkpoint_text(found.origin, 42, bytes(32))
    key = Ed25519PrivateKey.from_private_bytes(bytes(range(32))).public_key()
    name, number, signature = found.signatures[0]
    assert (name, number) == (found.origin, note.key_id(name, key.public_bytes_raw()))
    key.verify(signature, found.text.encode())


@pytest.mark.parametrize(
    ("old", "new", "named"),
    [
        ("\n\n", "\n", "empty line"),
        ("\n42\n", "\n042\n", "042"),
        ("\n42\n", "\n4x\n", "4x"),
        ("AAAA", "", "32 bytes"),
        ("AAAA", "!AAA", "not base64"),
        ("deepstead/0011223344556677\n42\n", "42\n", "at least 3 lines"),
        ("deepstead/0011223344556677\n42", "\n42", "origin"),
        ("\u2014 ", "- ", "em dash"),
        ("42", "42\r", "control"),
    ],
)  # fmt: skip
def test_a_damaged_note_is_refused_by_what_is_wrong(old: str, new: str, named: str) -> None:
    assert old in a_note()
    with pytest.raises(note.NoteError, match=named):
        note.parse(a_note().replace(old, new, 1))


def test_what_cannot_be_told_apart_later_is_not_signed() -> None:
    with pytest.raises(note.NoteError, match="line end"):
        note.signed("text", "name", bytes(32), bytes(64))
    with pytest.raises(note.NoteError, match="plus sign"):
        note.signed("text\n", "a name", bytes(32), bytes(64))
