"""Signed heads of the log: made at sign-offs, every night and for each pack, and held against the log at each start.

The chain shows what was changed inside the log. Its end can be cut off, or the whole be built anew, without the
chain showing it: a head that was noted earlier shows that, if the one who did it could not reach the note.
"""

from __future__ import annotations

import logging
from typing import TYPE_CHECKING, Final

from django.db import DatabaseError, transaction
from django.db.models import Max
from django.utils.translation import gettext as _

from facility import events
from facility.compute import note
from facility.compute.tree import Tree
from facility.jobs.queue import Kind, enqueue
from facility.models import Checkpoint, Event, Job, KeyUse, SigningKey
from facility.trust import faults, keyfiles, keys

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

BATCH: Final = 5000
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


def ask(why: str) -> None:
    """Let a head be made soon, by a job in the caller's transaction; one that waits already will do.

    The signer does not wait for it, and the job sees what this transaction leaves behind.
    """
    waits = Job.objects.filter(kind=Kind.CHECKPOINT, finished_at=None, dead_at=None, lease_until=None)
    if not waits.exists():
        enqueue(Kind.CHECKPOINT, {"why": why})


def newest() -> Checkpoint | None:
    """Return the newest head, or None before the first one."""
    return Checkpoint.objects.order_by("-size", "-pk").first()


def make(why: str) -> Checkpoint:
    """Sign and store the head of the log as it is now; the same size again is the head that is there.

    Errors: ContradictionError if the log does not continue the newest head; KeyFaultError without the key.
    """
    keys.ensure()
    latest = newest()
    size = Event.objects.aggregate(size=Max("seq"))["size"] or 0
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
        transaction.on_commit(lambda: _keep(row, tree))
    return row


def _keep(row: Checkpoint, tree: Tree) -> None:
    _Memory.tree = tree
    keyfiles.write(NEWEST, row.note.encode())


def _grown(latest: Checkpoint | None, size: int) -> Tree:
    """Return the tree of the log up to ``size``, seen to continue the newest head."""
    known = _Memory.tree
    if latest is not None and known is not None and (known.size, known.root()) == (latest.size, bytes(latest.root)):
        tree = known.copy()
    else:
        tree = Tree()
    wanted = {latest.size: bytes(latest.root)} if latest is not None and latest.size > tree.size else {}
    if latest is not None and size < latest.size:
        raise ContradictionError(faults.shorter(size, latest.size, latest.made_at))
    for at, root in _roots(tree, sorted(wanted), size):
        if root != wanted[at]:
            raise ContradictionError(faults.other_root(at))
    return tree


def _roots(tree: Tree, sizes: Iterable[int], last: int) -> Iterable[tuple[int, bytes]]:
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


def signer(text: str) -> SigningKey | None:
    """Return the key on record by which a note is signed, or None if it is by none of them.

    Errors: NoteError if it is no note of a head.
    """
    told = note.parse(text)
    for row in SigningKey.objects.filter(use=KeyUse.LOG):
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


def compare(texts: Iterable[str]) -> list[str]:
    """Return in words how the log contradicts these notes, and which are signed by no key of this box."""
    found: list[str] = []
    wanted: dict[int, set[bytes]] = {}
    for text in texts:
        told = note.parse(text)
        wanted.setdefault(told.size, set()).add(told.root)
        if signer(text) is None:
            found.append(faults.not_signed(told.size))
    size = Event.objects.aggregate(size=Max("seq"))["size"] or 0
    found += [faults.shorter(size, at) for at in sorted(wanted) if at > size]
    within = sorted(at for at in wanted if 0 < at <= size)
    last = within[-1] if within else 0
    found += [faults.other_root(at) for at, root in _roots(Tree(), within, last) if {root} != wanted[at]]
    return found


def look() -> list[str]:
    """Hold the log against every head in the database and the one beside it. Return what is wrong, in words."""
    rows = Checkpoint.objects.order_by("size", "pk").values_list("size", "root", "note")
    texts, found = [], []
    for size, root, text in rows:
        try:
            told = note.parse(text)
        except note.NoteError as error:
            found.append(faults.unreadable(size, error))
            continue
        if (told.size, told.root) != (size, bytes(root)):
            found.append(faults.not_signed(size))
        texts.append(text)
    beside = keyfiles.path_of(NEWEST)
    if beside.is_file() and (kept := beside.read_text(encoding="utf-8")) not in texts:
        try:
            note.parse(kept)
            texts.append(kept)
        except note.NoteError as error:
            found.append(_("%(file)s cannot be read: %(error)s") % {"file": beside, "error": error})
    return found + compare(texts)


def check_start(*, quick: bool = False) -> list[str]:
    """Make the keys at the first start, and hold the log against its heads; a fault is recorded and stands on every page.

    ``quick`` compares only lengths, for a start that must not wait; the job runner does the rest right after.
    It never raises for a damaged database: the facility must be able to read what is left.
    """
    try:
        found = _keys_missing() + (_too_short() if quick else look())
    except (DatabaseError, ValueError, OSError) as error:
        log.exception("The log could not be held against its signed heads.")
        found = [_("The log could not be held against its signed heads: %(error)s") % {"error": error}]
    if found or not quick:
        faults.stand(found)
    if found:
        _record(found)
    return found


def _keys_missing() -> list[str]:
    try:
        keys.ensure()
    except keys.KeyFaultError as error:
        return [str(error)]
    return []


def _too_short() -> list[str]:
    latest = newest()
    size = Event.objects.aggregate(size=Max("seq"))["size"] or 0
    sizes: list[tuple[int, datetime | None]] = [(latest.size, latest.made_at)] if latest is not None else []
    beside = keyfiles.path_of(NEWEST)
    if beside.is_file():
        sizes.append((note.parse(beside.read_text(encoding="utf-8")).size, None))
    return [faults.shorter(size, at, when) for at, when in sorted(sizes, key=lambda one: -one[0])[:1] if size < at]


def _record(found: list[str]) -> None:
    try:
        with transaction.atomic():
            what = events.What("records:head contradicted", after={"found": "\n".join(found)[:4000]})
            events.record(None, what, by=events.system("start"))
    except DatabaseError:
        log.exception("What was found could not be recorded: %s", found)


def nightly() -> tuple[Checkpoint | None, list[str]]:
    """Look at everything anew, then sign the night's head if nothing contradicts."""
    _Memory.tree = None
    found = check_start()
    return (None if found else make("night")), found
