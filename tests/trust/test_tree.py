"""The hash tree, against the published vectors of the certificate-transparency reference implementation.

Leaves and roots: the test data of that project's merkle tree tests (cpp/merkletree), as several public repositories
carry them. The two proofs come from the same data.
"""

from __future__ import annotations

import hashlib

import pytest

from facility.compute import tree

LEAVES = [
    bytes.fromhex(text)
    for text in ("", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f")
]
ROOTS = [
    "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
]
INCLUSION = {
    0: [
        "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
        "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
        "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4",
    ],
    5: [
        "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
        "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
        "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    ],
}
CONSISTENCY_2_8 = [
    "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
    "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4",
]
SIZES = range(1, 70)


def leaves_of(size: int) -> list[bytes]:
    return [hashlib.sha256(f"event {number}".encode()).digest() for number in range(size)]


@pytest.mark.parametrize("size", range(9))
def test_the_root_is_the_published_one_of_each_size(size: int) -> None:
    assert tree.root(LEAVES[:size]).hex() == ROOTS[size]


def test_a_tree_that_grows_has_the_published_root_at_each_step() -> None:
    growing = tree.Tree()
    for size, leaf in enumerate(LEAVES, start=1):
        growing.append(leaf)
        assert (growing.size, growing.root().hex()) == (size, ROOTS[size])


@pytest.mark.parametrize("index", INCLUSION)
def test_an_inclusion_proof_is_the_published_one(index: int) -> None:
    assert [one.hex() for one in tree.inclusion_proof(index, LEAVES)] == INCLUSION[index]


def test_a_consistency_proof_is_the_published_one() -> None:
    assert [one.hex() for one in tree.consistency_proof(2, LEAVES)] == CONSISTENCY_2_8
    ranges = tree.consistency_ranges(2, len(LEAVES))
    assert [tree.root(LEAVES[first:end]).hex() for first, end in ranges] == CONSISTENCY_2_8


@pytest.mark.parametrize("size", SIZES)
def test_the_hashes_of_a_proof_are_roots_over_ranges_that_do_not_meet(size: int) -> None:
    """RFC 6962, section 2.1.2: a proof is read from the log once, whatever its length."""
    leaves = leaves_of(size)
    for old in range(1, size + 1):
        ranges = tree.consistency_ranges(old, size)
        assert [tree.root(leaves[first:end]) for first, end in ranges] == tree.consistency_proof(old, leaves)
        covered = [leaf for first, end in ranges for leaf in range(first, end)]
        assert len(covered) == len(set(covered))


@pytest.mark.parametrize("size", SIZES)
def test_every_leaf_is_proven_and_nothing_else_is(size: int) -> None:
    leaves = leaves_of(size)
    root = tree.root(leaves)
    for index, leaf in enumerate(leaves):
        proof = tree.inclusion_proof(index, leaves)
        assert tree.verify_inclusion(leaf, index, size, proof, root)
        assert not tree.verify_inclusion(bytes(32), index, size, proof, root)
        assert not tree.verify_inclusion(leaf, index + 1, size, proof, root)
        assert not tree.verify_inclusion(leaf, index, size, [*proof, root], root)
        assert not tree.verify_inclusion(leaf, index, size, proof, bytes(32))
        assert not (proof and tree.verify_inclusion(leaf, index, size, proof[:-1], root))


@pytest.mark.parametrize("size", SIZES)
def test_every_earlier_tree_is_proven_to_be_the_start_of_a_later_one(size: int) -> None:
    leaves = leaves_of(size)
    root = tree.root(leaves)
    for old in range(1, size + 1):
        proof, old_root = tree.consistency_proof(old, leaves), tree.root(leaves[:old])
        assert tree.verify_consistency(old, size, old_root, root, proof)
        assert not tree.verify_consistency(old, size, bytes(32), root, proof)
        assert not tree.verify_consistency(old, size, old_root, bytes(32), proof)
        assert not tree.verify_consistency(old, size, old_root, root, [*proof, root])
        assert not (proof and tree.verify_consistency(old, size, old_root, root, proof[:-1]))


def test_a_tree_with_one_leaf_changed_has_no_proof_from_the_earlier_one() -> None:
    leaves = leaves_of(40)
    before = tree.root(leaves[:17])
    leaves[3] = bytes(32)
    assert not tree.verify_consistency(17, 40, before, tree.root(leaves), tree.consistency_proof(17, leaves))


def test_a_copy_grows_by_itself() -> None:
    one = tree.Tree()
    one.append(b"a")
    other = one.copy()
    other.append(b"b")
    assert (one.root(), other.root()) == (tree.root([b"a"]), tree.root([b"a", b"b"]))


@pytest.mark.parametrize(("old", "size"), [(0, 3), (4, 3), (-1, 3)])
def test_a_proof_that_cannot_be_is_refused_by_its_sizes(old: int, size: int) -> None:
    with pytest.raises(ValueError, match=f"tree of {size}"):
        tree.consistency_proof(old, leaves_of(size))
    with pytest.raises(ValueError, match=f"tree of {size}"):
        tree.inclusion_proof(size if old >= 0 else old, leaves_of(size))
    assert not tree.verify_consistency(old, size, b"", b"", [])
    with pytest.raises(ValueError, match=f"tree of {size}"):
        tree.consistency_ranges(old, size)
