"""The program that goes along in a pack, against RFC 8032, section 7.1, tests 1 to 3, and the published roots of RFC 6962."""

from __future__ import annotations

import pytest

from facility.pack.verifier import verify
from tests.trust.test_tree import LEAVES, ROOTS

VECTORS = [
    ("d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a", "",
     "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e06522490155"
     "5fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b"),
    ("3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c", "72",
     "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da"
     "085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00"),
    ("fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025", "af82",
     "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac"
     "18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a"),
]  # fmt: skip


@pytest.mark.parametrize(("public", "content", "signature"), VECTORS)
def test_a_published_signature_is_good_and_none_with_one_bit_more(public: str, content: str, signature: str) -> None:
    key, text, signed = (bytes.fromhex(one) for one in (public, content, signature))
    assert verify.ed25519(key, text, signed)
    assert not verify.ed25519(key, text + b"\0", signed)
    for place in range(64):
        assert not verify.ed25519(key, text, signed[:place] + bytes([signed[place] ^ 1]) + signed[place + 1 :])
    longer = int.from_bytes(signed[32:], "little") + verify.ORDER
    assert not verify.ed25519(key, text, signed[:32] + longer.to_bytes(32, "little"))


def test_the_root_at_each_size_is_the_published_one() -> None:
    found = verify.roots(LEAVES, set(range(1, len(LEAVES) + 1)))
    assert {size: root.hex() for size, root in found.items()} == dict(enumerate(ROOTS))
