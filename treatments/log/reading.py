"""The log of a run as it is read: current entries in order, and every line with its marks, newest first."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from facility.models import Event, Lock
from treatments.log.doubts import beyond_words
from treatments.log.spans import deeper_than
from treatments.log.wording import words_of
from treatments.models import ClinicalText, LogEntry

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import datetime, timedelta

    from treatments.models import Run


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the log with its marks. ``old``: what it said before, in the order in which it was corrected.

    ``elapsed``: since leaving surface; None before the run left it. ``event``: the number of the event that stored it.
    """

    entry: LogEntry
    words: str
    elapsed: timedelta | None
    old: tuple[LogEntry, ...] = ()
    struck: bool = False
    out_of_order: bool = False
    clock_suspect: bool = False
    has_text: bool = False
    beside: str = ""
    beyond: str = ""
    event: int | None = None

    @property
    def old_words(self) -> list[tuple[str, str]]:
        """What the line said before, with the reason of each correction."""
        return [(words_of(one), one.retired_reason) for one in self.old]

    @property
    def text_missing(self) -> bool:
        """Whether a text stayed on the device that was lost or closed before it was sent."""
        return self.entry.values.get("text_missing") == "yes" and not self.has_text


def log_of(run: Run) -> list[LogEntry]:
    """Return the current entries of a run in the order in which they happened."""
    rows = LogEntry.objects.filter(run=run, retired_at=None).select_related("occupant")
    return list(rows.order_by("occurred_at", "id"))


def all_of(run: Run) -> list[LogEntry]:
    """Return every entry of a run, struck and corrected ones too, as they came in."""
    return list(LogEntry.objects.filter(run=run).select_related("occupant").order_by("id"))


def in_order(rows: Iterable[LogEntry]) -> list[LogEntry]:
    """Return those that count in the order in which they happened."""
    return sorted((row for row in rows if row.is_current), key=_when)


def _when(row: LogEntry) -> tuple[datetime, int]:
    return (row.occurred_at or row.recorded_at, row.pk)


def lines_of(run: Run, rows: Sequence[LogEntry]) -> list[Line]:
    """Return the lines of a log, newest first. ``rows``: as all_of(). Three queries whatever their number."""
    by_pk = {row.pk: row for row in rows}
    replaced = {row.supersedes_id for row in rows if row.supersedes_id}
    texts = set(ClinicalText.objects.filter(run=run, retired_at=None).values_list("entry_id", flat=True))
    told = Event.objects.filter(subject_kind="treatments.logentry", subject_id__in=list(by_pk)).order_by("-seq")
    events = list(told.values_list("subject_id", "seq", "clock_suspect"))
    first = {pk: seq for pk, seq, _suspect in events}
    suspect = {pk for pk, _seq, suspected in events if suspected}
    locks = list(Lock.objects.filter(chamber=run.chamber_id, retired_at=None))
    late = _out_of_order(rows)
    found = []
    for row in rows:
        if row.pk in replaced:
            continue
        old = _before(row, by_pk)
        lock = deeper_than(row.depth, row.depth_unit, locks)
        found.append(
            Line(
                entry=row,
                words=words_of(row),
                elapsed=_elapsed(run, row),
                old=old,
                struck=not row.is_current,
                out_of_order=row.pk in late,
                clock_suspect=row.clock_suspect or row.pk in suspect,
                has_text=any(one.pk in texts for one in (row, *old)),
                beside=str(row.values.get("beside_writer", "")),
                beyond="" if lock is None else beyond_words(row, lock),
                event=first.get(row.pk),
            )
        )
    return sorted(found, key=lambda line: _when(line.entry), reverse=True)


def _before(row: LogEntry, by_pk: dict[int, LogEntry]) -> tuple[LogEntry, ...]:
    """Return what a line said before, the oldest first."""
    found: list[LogEntry] = []
    step = by_pk.get(row.supersedes_id or 0)
    while step is not None:
        found.insert(0, step)
        step = by_pk.get(step.supersedes_id or 0)
    return tuple(found)


def _elapsed(run: Run, row: LogEntry) -> timedelta | None:
    if run.started_at is None or row.occurred_at is None:
        return None
    return row.occurred_at - run.started_at


def _out_of_order(rows: Sequence[LogEntry]) -> set[int]:
    """Return the entries that lay before one that was stored earlier; a correction keeps its line's place."""
    found: set[int] = set()
    latest: datetime | None = None
    for row in rows:
        at = row.occurred_at or row.recorded_at
        if latest is not None and at < latest and row.supersedes_id is None:
            found.add(row.pk)
        latest = at if latest is None else max(latest, at)
    return found
