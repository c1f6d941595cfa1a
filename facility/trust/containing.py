"""Whether a head whose code stands on a paper is in this log, and the proof that today's log goes on from it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from django.utils.translation import gettext as _

from facility.compute import tree
from facility.models import Checkpoint, Event
from facility.trust import checkpoints

if TYPE_CHECKING:
    from facility.models import SigningKey

CODE: Final = re.compile(r"[0-9a-f]{32}")
CODE_DIGITS: Final = 32
ROOT_BYTES: Final = 32


class CodeError(ValueError):
    """What was typed is no code of a head; says why."""


@dataclass(frozen=True, slots=True)
class Found:
    """A head found by its code. ``contained``: the newest head's log goes on from it, as ``proof`` shows (RFC 9162, 2.1.4)."""

    head: Checkpoint
    signer: SigningKey | None
    newest: Checkpoint
    contained: bool
    proof: tuple[str, ...]


def code_of(typed: str) -> str:
    """Return the digits of a code as it was typed, with or without gaps.

    Errors: CodeError naming what is wrong.

    >>> code_of("5DC9 da79 a706 59a9 ad55 9cb7 01de d9a2")
    '5dc9da79a70659a9ad559cb701ded9a2'
    """
    digits = "".join(typed.lower().replace("-", " ").split())
    if strange := sorted(set(digits) - set("0123456789abcdef")):
        raise CodeError(
            _("A code has only the digits 0 to 9 and the letters a to f; %(what)s is none of them.")
            % {"what": strange[0]}
        )
    if not CODE.fullmatch(digits):
        raise CodeError(_("A code has 8 groups of 4, %(all)d in all; this one has %(count)d. Type it as it is printed.") % {
            "all": CODE_DIGITS, "count": len(digits),
        })  # fmt: skip
    return digits


def find(code: str) -> Found | None:
    """Return the head of a code and whether today's log contains it, or None if no head here has that code.

    Reads every event's digest once. Errors: CodeError as in code_of().
    """
    start = bytes.fromhex(code_of(code))
    rest = ROOT_BYTES - len(start)
    head = (
        Checkpoint.objects.filter(root__range=(start + bytes(rest), start + b"\xff" * rest))
        .order_by("size", "pk")
        .first()
    )
    newest = checkpoints.newest()
    if head is None or newest is None:
        return None
    read = _read(head.size, newest.size) if head.size <= newest.size else None
    proof = read.proof if read is not None else []
    roots = (bytes(head.root), bytes(newest.root))
    contained = (
        read is not None
        and (read.old_root, read.new_root) == roots
        and tree.verify_consistency(head.size, newest.size, *roots, proof)
    )
    return Found(head, checkpoints.signer(head.note), newest, contained, tuple(one.hex() for one in proof))


@dataclass(frozen=True, slots=True)
class _Read:
    """What the events of the log, as they are now, lead to at two sizes, and the proof that the later goes on from the earlier."""

    old_root: bytes
    new_root: bytes
    proof: list[bytes]


def _read(old: int, new: int) -> _Read | None:
    """Read the log once, whatever its length, holding one hash per bit of it; None if it is shorter than ``new``."""
    ranges = tree.consistency_ranges(old, new)
    parts = [tree.Tree() for _range in ranges]
    of_leaf = sorted(
        ((first, end, part) for (first, end), part in zip(ranges, parts, strict=True)), key=lambda one: one[0]
    )
    whole, old_root, at = tree.Tree(), b"", 0
    rows = Event.objects.filter(seq__lte=new).order_by("seq").values_list("digest", flat=True)
    for digest in rows.iterator(chunk_size=checkpoints.BATCH):
        while at < len(of_leaf) and of_leaf[at][1] <= whole.size:
            at += 1
        if at < len(of_leaf) and of_leaf[at][0] <= whole.size:
            of_leaf[at][2].append(bytes(digest))
        whole.append(bytes(digest))
        if whole.size == old:
            old_root = whole.root()
    return _Read(old_root, whole.root(), [part.root() for part in parts]) if whole.size == new else None
