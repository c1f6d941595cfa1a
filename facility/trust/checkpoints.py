"""Signed heads of the log: made at sign-offs, every night and for each pack, and held against the log at each start.

The chain shows what was changed inside the log. Its end can be cut off, or the whole be built anew, without the
chain showing it: a head that was noted earlier shows that, if the one who did it could not reach the note.
"""

from __future__ import annotations

import logging
from typing import TYPE_CHECKING, Final

from django.db import transaction
from django.db.models import Max

from facility import events
from facility.compute import note
from facility.compute.tree import Tree
from facility.jobs.queue import Kind, enqueue
from facility.models import Checkpoint, Event, Job, KeyUse, SigningKey
from facility.trust import faults, keyfiles, keys

if TYPE_CHECKING:
    from collections.abc import Iterable

BATCH: Final = 5000
ANSWERED: Final = "answered: "
"""How ``why`` begins for a head that the log contradicts and that somebody has answered for, with a reason."""
GROUPS: Final = 8
DIGITS: Final = 4
NEWEST: Final = "checkpoint.note"
"""The newest note once more, beside the database: an older database put back in its place is noticed by it."""
log = logging.getLogger(__name__)


class ContradictionError(ValueError):
    """The log is not the one that was signed for before; no further head is signed."""


class _Memory:
    """The tree at the newest head, so that the next one costs only the events since."""

    tree: Tree | None = None


def forget() -> None:
    """Let the next head be made from all events anew."""
    _Memory.tree = None


def ask(why: str) -> None:
    """Let a head be made soon, by a job in the caller's transaction; one that waits already will do.

    The signer does not wait for it, and the job sees what this transaction leaves behind.
    """
    waits = Job.objects.filter(kind=Kind.CHECKPOINT, finished_at=None, dead_at=None, lease_until=None)
    if not waits.exists():
        enqueue(Kind.CHECKPOINT, {"why": why})


def newest() -> Checkpoint | None:
    """Return the newest head that the log must continue, or None before the first one."""
    return Checkpoint.objects.exclude(why__startswith=ANSWERED).order_by("-size", "-pk").first()


def make(why: str) -> Checkpoint:
    """Sign and store the head of the log as it is now; the same size again is the head that is there.

    Errors: ContradictionError if the log does not continue the newest head or the one beside the database;
    KeyFaultError without the key.
    """
    keys.ensure()
    latest = newest()
    size = log_size()
    if latest is not None and size == latest.size:
        return latest
    tree = _grown(latest, size)
    with transaction.atomic():
        keys.one_at_a_time()
        if (meanwhile := newest()) is not None and meanwhile.size >= size:
            return meanwhile
        row = Checkpoint.objects.create(
            size=size, root=tree.root(), note=_signed(tree), made_at=events.now(), why=why[:60], copied=[]
        )
        transaction.on_commit(lambda: keyfiles.write(NEWEST, row.note.encode()))
    _Memory.tree = tree
    return row


def _grown(latest: Checkpoint | None, size: int) -> Tree:
    """Return the tree of the log up to ``size``, seen to continue the newest head and the one beside the database."""
    heads = _to_be_met(latest)
    if heads and heads[-1][0] > size:
        raise ContradictionError(faults.shorter(size, heads[-1][0]))
    known = _Memory.tree
    if heads and known is not None and heads == [(known.size, known.root())]:
        tree = known.copy()
        heads = []
    else:
        tree = Tree()
    wanted = dict(heads)
    if len(wanted) < len(heads):
        raise ContradictionError(faults.other_root(heads[-1][0]))
    for at, root in roots(tree, sorted(wanted), size):
        if root != wanted[at]:
            raise ContradictionError(faults.other_root(at))
    return tree


def _to_be_met(latest: Checkpoint | None) -> list[tuple[int, bytes]]:
    """Return size and root of the newest head and of the one beside the database, in rising order."""
    found = set() if latest is None else {(latest.size, bytes(latest.root))}
    beside = keyfiles.path_of(NEWEST)
    if beside.is_file():
        try:
            told = note.parse(beside.read_text(encoding="utf-8"))
        except ValueError as error:
            raise ContradictionError(faults.file_unreadable(beside, error)) from error
        found.add((told.size, told.root))
    return sorted(found)


def roots(tree: Tree, sizes: Iterable[int], last: int) -> Iterable[tuple[int, bytes]]:
    """Let a tree grow to ``last`` events; yield its root at each of ``sizes``, in rising order."""
    waiting = iter(sizes)
    stop = next(waiting, None)
    found = Event.objects.filter(seq__gt=tree.size, seq__lte=last).order_by("seq").values_list("digest", flat=True)
    for digest in found.iterator(chunk_size=BATCH):
        tree.append(bytes(digest))
        if tree.size == stop:
            yield stop, tree.root()
            stop = next(waiting, None)


def _signed(tree: Tree) -> str:
    name = keys.origin()
    text = note.checkpoint_text(name, tree.size, tree.root())
    key = keyfiles.log_key()
    return note.signed(text, name, key.public_key().public_bytes_raw(), key.sign(text.encode()))


def short_code(root: bytes) -> str:
    """Return the first 128 bits of a root in groups, to be written on paper and compared by eye.

    >>> short_code(bytes.fromhex("5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328"))
    '5dc9 da79 a706 59a9 ad55 9cb7 01de d9a2'
    """
    digits = root.hex()
    return " ".join(digits[at : at + DIGITS] for at in range(0, GROUPS * DIGITS, DIGITS))


def log_size() -> int:
    """Return how many events the log has."""
    size: int | None = Event.objects.aggregate(size=Max("seq"))["size"]
    return size or 0


def log_keys() -> list[SigningKey]:
    """Return every key of the log there ever was."""
    return list(SigningKey.objects.filter(use=KeyUse.LOG))


def signer(text: str, known: list[SigningKey] | None = None) -> SigningKey | None:
    """Return the key on record by which a note is signed, or None if it is by none of them.

    ``known``: the keys of the log, where many notes are looked at.

    Errors: NoteError if it is no note of a head.
    """
    told = note.parse(text)
    for row in log_keys() if known is None else known:
        raw = keys.raw_of(row)
        for name, number, signature in told.signatures:
            if number == note.key_id(name, raw) and _holds(told.text, signature, raw):
                return row
    return None


def _holds(text: str, signature: bytes, raw: bytes) -> bool:
    from cryptography.exceptions import InvalidSignature  # noqa: PLC0415  # megabytes, needed only here
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey  # noqa: PLC0415  # as above

    try:
        Ed25519PublicKey.from_public_bytes(raw).verify(signature, text.encode())
    except (InvalidSignature, ValueError):
        return False
    return True
