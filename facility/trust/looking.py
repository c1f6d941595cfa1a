"""Looking whether the log is still the one that was signed for: at each start, every night, and when somebody asks.

Heads are looked for in the database, beside it, and in the folders that take copies of backups, if they can be reached.
"""

from __future__ import annotations

import hashlib
import json
import logging
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from django.conf import settings
from django.db import DatabaseError, transaction
from django.utils.translation import gettext as _

from facility import events
from facility.compute import note
from facility.compute.tree import Tree
from facility.models import Checkpoint, Event
from facility.trust import checkpoints, faults, keyfiles, keys

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from datetime import datetime

ANSWER: Final = "records:contradiction answered"
MOST_FILES: Final = 5000
"""Of one folder, the newest first: thirteen years of nights."""
log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Contradiction:
    """A head that the log contradicts. ``words``: how; ``text``: the note, nothing if it cannot be read; ``place``: where it lies."""

    words: str
    text: str
    place: str = ""


@dataclass(frozen=True, slots=True)
class _Noted:
    """A note as text and taken apart, and where it lies; nothing for the database."""

    text: str
    told: note.Note
    place: str


def digest_of(text: str) -> str:
    """Return by what an answer names a note: its SHA-256."""
    return hashlib.sha256(text.encode()).hexdigest()


def compare(texts: Iterable[str]) -> list[str]:
    """Return in words how the log contradicts these notes, and which are signed by no key of this box.

    Errors: NoteError if one is no note.
    """
    return [one.words for one in _compared([_Noted(text, note.parse(text), "") for text in texts])]


def _compared(noted: list[_Noted]) -> list[Contradiction]:
    known = checkpoints.log_keys()
    found = [
        _against(one, faults.not_signed(one.told.size)) for one in noted if checkpoints.signer(one.text, known) is None
    ]
    size = checkpoints.log_size()
    beyond = sorted((one for one in noted if one.told.size > size), key=lambda one: one.told.size)
    found += [_against(one, faults.shorter(size, one.told.size, _made_at(one.text))) for one in beyond]
    within = sorted({one.told.size for one in noted if 0 < one.told.size <= size})
    last = within[-1] if within else 0
    roots = dict(checkpoints.roots(Tree(), within, last))
    differing = [one for one in noted if one.told.size in roots and roots[one.told.size] != one.told.root]
    return found + [_against(one, faults.other_root(one.told.size)) for one in differing]


def _against(one: _Noted, words: str) -> Contradiction:
    where = _(" It lies in %(place)s.") % {"place": one.place} if one.place else ""
    return Contradiction(words + where, one.text, one.place)


def _made_at(text: str) -> datetime | None:
    return Checkpoint.objects.filter(note=text).values_list("made_at", flat=True).first()


def look() -> list[str]:
    """Hold the log against every head that can be reached. Return what is wrong, in words."""
    return [one.words for one in contradictions()]


def contradictions() -> list[Contradiction]:
    """Return every head that the log contradicts and that nobody has answered for."""
    answered = _answered()
    noted: dict[str, _Noted] = {}
    found: list[Contradiction] = []
    for text, place in _texts(found):
        if text in noted or digest_of(text) in answered:
            continue
        try:
            noted[text] = _Noted(text, note.parse(text), place)
        except note.NoteError as error:
            words = faults.file_unreadable(Path(place), error) if place else faults.unreadable(_size_of(text), error)
            found.append(Contradiction(words, text, place))
    return [one for one in found if digest_of(one.text) not in answered] + _compared(list(noted.values()))


def _size_of(text: str) -> int:
    return Checkpoint.objects.filter(note=text).values_list("size", flat=True)[0]


def _answered() -> set[str]:
    """Return the digests of the notes that were answered for, as the log tells."""
    told = Event.objects.filter(action=ANSWER).values_list("payload", flat=True)
    return {digest for payload in told for digest in json.loads(payload)["after"]["digests"].split()}


def _texts(found: list[Contradiction]) -> Iterator[tuple[str, str]]:
    """Yield each note and where it lies; what a row says beside its note is compared with it at once."""
    for size, root, text in Checkpoint.objects.order_by("size", "pk").values_list("size", "root", "note"):
        if not _fits(text, size, bytes(root)):
            found.append(Contradiction(faults.not_signed(size), text))
        yield text, ""
    beside, ours = keyfiles.path_of(checkpoints.NEWEST), f"{keys.origin()}\n"
    for path in [beside, *_copies()]:
        try:
            text = path.read_bytes().decode(errors="replace")
        except FileNotFoundError:
            continue
        except OSError as error:
            found.append(Contradiction(faults.file_unreadable(path, error), "", str(path)))
            continue
        if path == beside or text.startswith(ours):
            yield text, str(path)


def _fits(text: str, size: int, root: bytes) -> bool:
    try:
        told = note.parse(text)
    except note.NoteError:
        return True  # that it cannot be read is said for itself
    return (told.size, told.root) == (size, root)


def _copies() -> list[Path]:
    """Return the heads beside copies of backups, in the folders that can be reached now."""
    found: list[Path] = []
    for folder in settings.BACKUP_COPIES:
        try:
            names = sorted(folder.glob("checkpoint-*.note"), key=lambda path: (len(path.name), path.name), reverse=True)
        except OSError:
            continue
        found += names[:MOST_FILES]
    return found


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
    latest = checkpoints.newest()
    size = checkpoints.log_size()
    sizes: list[tuple[int, datetime | None]] = [(latest.size, latest.made_at)] if latest is not None else []
    beside = keyfiles.path_of(checkpoints.NEWEST)
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
    checkpoints.forget()
    found = check_start()
    return (None if found else checkpoints.make("night")), found
