"""The hash tree over the log: RFC 6962 section 2.1, unchanged in RFC 9162 section 2.1 (SHA-256).

A leaf is the 32 bytes of an event's digest. The hash of a leaf is SHA-256 of the byte 00 and the leaf; that of a
node SHA-256 of the byte 01, the left and the right hash; a tree of n leaves is split at the greatest power of two
that is less than n. The root of no leaves is SHA-256 of nothing.

Whoever holds the root and size of an earlier tree can tell whether a later one only grew: ``verify_consistency``.
"""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

EMPTY_ROOT = hashlib.sha256(b"").digest()


def leaf_hash(leaf: bytes) -> bytes:
    """Return the hash of one leaf."""
    return hashlib.sha256(b"\x00" + leaf).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """Return the hash of two joined trees."""
    return hashlib.sha256(b"\x01" + left + right).digest()


class Tree:
    """A tree that grows leaf by leaf and holds only the roots of its full parts: one hash per bit of its size.

    >>> tree = Tree()
    >>> tree.root() == EMPTY_ROOT
    True
    """

    __slots__ = ("_full", "size")

    def __init__(self) -> None:
        self.size = 0
        self._full: list[bytes] = []

    def append(self, leaf: bytes) -> None:
        """Put one leaf at the end."""
        made, size = leaf_hash(leaf), self.size
        while size & 1:
            made = node_hash(self._full.pop(), made)
            size >>= 1
        self._full.append(made)
        self.size += 1

    def root(self) -> bytes:
        """Return the root as of now."""
        if not self._full:
            return EMPTY_ROOT
        *left, made = self._full
        for one in reversed(left):
            made = node_hash(one, made)
        return made

    def copy(self) -> Tree:
        """Return a tree of the same leaves that grows by itself."""
        other = Tree()
        other.size, other._full = self.size, list(self._full)
        return other


def root(leaves: Sequence[bytes]) -> bytes:
    """Return the root of the tree over ``leaves``."""
    tree = Tree()
    for leaf in leaves:
        tree.append(leaf)
    return tree.root()


def split(size: int) -> int:
    """Return the greatest power of two less than ``size``, which is at least 2.

    >>> [split(size) for size in (2, 3, 4, 5, 8, 9)]
    [1, 2, 2, 4, 4, 8]
    """
    return 1 << ((size - 1).bit_length() - 1)


def inclusion_proof(index: int, leaves: Sequence[bytes]) -> list[bytes]:
    """Return the hashes by which leaf number ``index`` (from 0) leads to the root, lowest first (RFC 6962, 2.1.1).

    Errors: ValueError if there is no such leaf.
    """
    if not 0 <= index < len(leaves):
        raise ValueError(f"There is no leaf {index} in a tree of {len(leaves)}.")
    if len(leaves) == 1:
        return []
    at = split(len(leaves))
    if index < at:
        return [*inclusion_proof(index, leaves[:at]), root(leaves[at:])]
    return [*inclusion_proof(index - at, leaves[at:]), root(leaves[:at])]


def verify_inclusion(leaf: bytes, index: int, size: int, proof: Sequence[bytes], wanted: bytes) -> bool:
    """Return whether ``leaf`` is number ``index`` of the tree of this size and root (RFC 9162, 2.1.3.2)."""
    if not 0 <= index < size:
        return False
    place, last, made = index, size - 1, leaf_hash(leaf)
    for one in proof:
        if last == 0:
            return False
        if place & 1 or place == last:
            made = node_hash(one, made)
            while place and not place & 1:
                place, last = place >> 1, last >> 1
        else:
            made = node_hash(made, one)
        place, last = place >> 1, last >> 1
    return last == 0 and made == wanted


def consistency_proof(old: int, leaves: Sequence[bytes]) -> list[bytes]:
    """Return the hashes that show that the first ``old`` leaves are those of the earlier tree (RFC 6962, 2.1.2).

    Errors: ValueError unless 0 < ``old`` <= number of leaves.
    """
    if not 0 < old <= len(leaves):
        raise ValueError(f"A tree of {len(leaves)} cannot be compared with one of {old}.")
    return _sub_proof(old, leaves, whole=True)


def _sub_proof(old: int, leaves: Sequence[bytes], *, whole: bool) -> list[bytes]:
    if old == len(leaves):
        return [] if whole else [root(leaves)]
    at = split(len(leaves))
    if old <= at:
        return [*_sub_proof(old, leaves[:at], whole=whole), root(leaves[at:])]
    return [*_sub_proof(old - at, leaves[at:], whole=False), root(leaves[:at])]


def consistency_ranges(old: int, new: int) -> list[tuple[int, int]]:
    """Return over which leaves, from and to, the hashes of a consistency proof are roots, for a log too long to be held.

    Errors: ValueError unless 0 < ``old`` <= ``new``.

    >>> consistency_ranges(2, 8)
    [(2, 4), (4, 8)]
    """
    if not 0 < old <= new:
        raise ValueError(f"A tree of {new} cannot be compared with one of {old}.")
    return _sub_ranges(old, 0, new, whole=True)


def _sub_ranges(old: int, first: int, end: int, *, whole: bool) -> list[tuple[int, int]]:
    if old == end - first:
        return [] if whole else [(first, end)]
    at = first + split(end - first)
    if old <= at - first:
        return [*_sub_ranges(old, first, at, whole=whole), (at, end)]
    return [*_sub_ranges(old - (at - first), at, end, whole=False), (first, at)]


def verify_consistency(old: int, new: int, old_root: bytes, new_root: bytes, proof: Sequence[bytes]) -> bool:
    """Return whether the tree of ``new`` leaves grew from that of ``old`` leaves (RFC 9162, 2.1.4.2)."""
    if not 0 < old <= new:
        return False
    if old == new:
        return not proof and old_root == new_root
    path = list(proof)
    if not old & (old - 1):
        path.insert(0, old_root)
    if not path:
        return False
    place, last = old - 1, new - 1
    while place & 1:
        place, last = place >> 1, last >> 1
    return _climb(place, last, path) == (old_root, new_root)


def _climb(place: int, last: int, path: Sequence[bytes]) -> tuple[bytes, bytes] | None:
    """Return both roots that a path of hashes leads to, or None if it is too long or too short."""
    earlier = later = path[0]
    for one in path[1:]:
        if last == 0:
            return None
        if place & 1 or place == last:
            earlier, later = node_hash(one, earlier), node_hash(one, later)
            while place and not place & 1:
                place, last = place >> 1, last >> 1
        else:
            later = node_hash(later, one)
        place, last = place >> 1, last >> 1
    return (earlier, later) if last == 0 else None
