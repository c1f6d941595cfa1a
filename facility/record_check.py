"""Verify the event log: the chain, its triggers, its columns, and that each kept row has its event.

The exact bytes over which each digest was taken are told in ``facility.compute.chain``, with a
command that recomputes them without this program.
"""

from __future__ import annotations

import json
import logging
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, Final

from django.apps import apps
from django.db import DatabaseError, connection, transaction
from django.db.models import Exists, Min, OuterRef
from django.utils.translation import gettext as _

from facility import events, triggers
from facility.compute.chain import ChainFault, Head, Link, checkpoint_fault, link_fault
from facility.counted import counted
from facility.models import Event, Kept

if TYPE_CHECKING:
    from collections.abc import Iterator

BATCH: Final = 2000
COLUMNS: Final = (
    "seq", "payload", "prev", "digest", "recorded_at", "action", "actor",
    "subject_kind", "subject_id", "site_id_text", "reason", "late", "clock_suspect",
)  # fmt: skip
log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a verification found. ``count`` and ``head_hex`` are worth noting outside the server."""

    count: int
    head_hex: str
    faults: tuple[str, ...] = ()

    @property
    def ok(self) -> bool:
        """Whether nothing was found."""
        return not self.faults

    @property
    def first_fault(self) -> str:
        """The first fault in plain words, or nothing."""
        return self.faults[0] if self.faults else ""


@dataclass(slots=True)
class _Walk:
    """The state of one walk along the log; one event at a time, whatever its length."""

    noted_count: int
    head: Head = field(default_factory=Head)
    fault: str = ""
    digest_noted: bytes | None = None

    def step(self, row: tuple[object, ...]) -> None:
        """Take one stored event in; only the first fault is named, the later ones follow from it."""
        link = Link(int(str(row[0])), str(row[1]), _bytes(row[2]), _bytes(row[3]))
        if not self.fault:
            broken = link_fault(self.head, link)
            self.fault = _link_words(broken, self.head.count, link.seq) if broken else _column_fault(row)
        if self.head.count + 1 == self.noted_count:
            self.digest_noted = link.digest
        self.head = Head(self.head.count + 1, link.digest)


def verify(*, at_least: tuple[int, str] | None = None) -> Verdict:
    """Walk the whole log and return the verdict.

    ``at_least`` is a count and head (hex digits) that were noted earlier, outside the server. Without
    it a log whose newest events were cut off looks whole; with it the cut is found.
    """
    noted = Head(at_least[0], bytes.fromhex(at_least[1])) if at_least else Head()
    walk = _Walk(noted.count)
    faults: list[str] = []
    try:
        for row in Event.objects.order_by("seq").values_list(*COLUMNS).iterator(chunk_size=BATCH):
            walk.step(row)
        faults += [walk.fault] if walk.fault else []
        faults += _checkpoint_faults(noted, walk)
        faults += _trigger_faults()
        faults += _row_faults()
    except DatabaseError as error:
        faults.append(_("The database could not be read: %(error)s") % {"error": error})
    return Verdict(walk.head.count, walk.head.digest.hex(), tuple(faults))


def verify_and_record(*, by: events.Actor, action: str = "records:verified") -> Verdict:
    """Verify and record what was found, as the nightly job does."""
    verdict = verify()
    note(verdict, by=by, action=action)
    return verdict


def note(verdict: Verdict, *, by: events.Actor, action: str) -> None:
    """Record a verdict as an event."""
    told = {
        "events": str(verdict.count),
        "head": verdict.head_hex,
        "found": "nothing wrong" if verdict.ok else "\n".join(verdict.faults),
    }
    with transaction.atomic():
        events.record(None, events.What(action, after=told), by=by)


def after_unclean_stop() -> Verdict:
    """Check the file and the log after a stop that was not clean; the result is recorded.

    It never raises for a damaged database: the facility must be able to read what is left.
    """
    file_faults = file_check()
    verdict = verify()
    verdict = Verdict(verdict.count, verdict.head_hex, file_faults + verdict.faults)
    try:
        note(verdict, by=events.system("start"), action="records:checked-after-unclean-stop")
    except DatabaseError:
        log.exception("The check after the unclean stop could not be recorded: %s", verdict.faults)
        unrecorded = _("The result of this check could not be recorded: the database takes no event.")
        verdict = Verdict(verdict.count, verdict.head_hex, (*verdict.faults, unrecorded))
    return verdict


def file_check() -> tuple[str, ...]:
    """Return what SQLite's own check finds wrong with the file; nothing on PostgreSQL, which checks itself."""
    if connection.vendor != "sqlite":
        return ()
    try:
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA integrity_check(20)")
            told = [str(row[0]) for row in cursor.fetchall()]
    except DatabaseError as error:
        told = [str(error)]
    return tuple(_("The database file is damaged: %(what)s") % {"what": what} for what in told if what != "ok")


def _bytes(value: object) -> bytes:
    return bytes(value) if isinstance(value, bytes | memoryview) else str(value).encode()


def _link_words(fault: ChainFault, before: int, seq: int) -> str:
    words = {
        ChainFault.GAP: _("Gap: after event %(before)d comes event %(seq)d, where %(next)d was due."),
        ChainFault.PREV: _("Event %(seq)d does not continue event %(before)d: one of the two was changed."),
        ChainFault.DIGEST: _("The text of event %(seq)d was changed: its digest is wrong."),
    }
    return words[fault] % {"before": before, "seq": seq, "next": before + 1}


def _column_fault(row: tuple[object, ...]) -> str:
    """Return which plain column says something else than the text of the event, or nothing."""
    stored = dict(zip(COLUMNS, row, strict=True))
    try:
        told = json.loads(str(stored["payload"]))
        expected = {
            "seq": told["seq"],
            "recorded_at": told["recorded_at"],
            "action": told["action"],
            "actor": told["actor"],
            "subject_kind": told["subject_kind"],
            "subject_id": told["subject_id"],
            "site_id_text": told["site"],
            "reason": told["reason"][:1000],
            "late": told["late"],
            "clock_suspect": told.get("clock_suspect", ""),
        }
    except (ValueError, KeyError, TypeError):
        return _("The text of event %(seq)d cannot be read.") % {"seq": stored["seq"]}
    for name, text in expected.items():
        if _as_text(stored[name]) != text:
            return _("Event %(seq)d: the column “%(column)s” says “%(stored)s”, the event's text says “%(told)s”.") % {
                "seq": stored["seq"], "column": name, "stored": _as_text(stored[name]), "told": text,
            }  # fmt: skip
    return ""


def _as_text(value: object) -> str:
    """Return a column's value as the event's text writes it."""
    if value is None or value is False:
        return ""
    if value is True:
        return "yes"
    return value.isoformat() if isinstance(value, datetime) else str(value)


def _checkpoint_faults(noted: Head, walk: _Walk) -> list[str]:
    fault = checkpoint_fault(noted, count=walk.head.count, digest_there=walk.digest_noted)
    if fault is None:
        return []
    words = {
        ChainFault.SHORTER: _("The log holds %(count)s, but %(noted)d were noted earlier: its end was cut off."),
        ChainFault.OTHER_HEAD: _("Event %(noted)d is not the one that was noted earlier: the log was built anew."),
    }
    return [words[fault] % {"count": counted(walk.head.count, "event", "events"), "noted": noted.count}]


def _trigger_faults() -> list[str]:
    wrong = triggers.missing()
    if not wrong:
        return []
    return [_("The event table lacks its triggers as they must be: %(names)s.") % {"names": ", ".join(wrong)}]


def kept_models() -> list[type[Kept]]:
    """Return every model whose rows must each have an event."""
    return [model for model in apps.get_models() if issubclass(model, Kept)]


def _row_faults() -> Iterator[str]:
    """Name kept rows without an event, and events whose kept row is gone; the first of each model."""
    there = set(connection.introspection.table_names())  # before an upgrade some are not there yet
    for model in kept_models():
        if model._meta.db_table not in there:
            continue
        label = model._meta.label_lower
        of_row = Event.objects.filter(subject_kind=label, subject_id=OuterRef("pk"))
        rows = model._default_manager.filter(~Exists(of_row))
        if first := rows.order_by("pk").values_list("pk", flat=True).first():
            yield _("Row without event: %(what)s number %(pk)d was stored past the log (%(rows)s).") % {
                "what": model._meta.verbose_name, "pk": first, "rows": counted(rows.count(), "such row", "such rows"),
            }  # fmt: skip
        row_of = model._default_manager.filter(pk=OuterRef("subject_id"))
        gone = Event.objects.filter(~Exists(row_of), subject_kind=label)
        if seq := gone.aggregate(seq=Min("seq"))["seq"]:
            yield _("Event %(seq)d tells of %(what)s number %(pk)d, but that row is gone.") % {
                "seq": seq, "what": model._meta.verbose_name, "pk": Event.objects.get(seq=seq).subject_id,
            }  # fmt: skip
