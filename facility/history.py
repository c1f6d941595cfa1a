"""What happened to one record, read from the event log: who, when, what became what, and why."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db.models import JSONField, TextField
from django.utils.text import capfirst

from facility.event_words import acted
from facility.models import Entry, Event
from facility.nested import Told, told, with_local
from facility.shown import recorded_text

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime
    from zoneinfo import ZoneInfo

    from facility.models import Kept

LEFT_OUT = {"retired_at", "retired_reason", "supersedes_id", "occurred_at"}
LONGEST_CHAIN = 20


@dataclass(frozen=True, slots=True)
class Change:
    """One field before and after. ``told``: what of it does not stand in one line."""

    label: str
    before: str
    after: str
    told: Told | None = None


@dataclass(frozen=True, slots=True)
class Happening:
    """One event of a record."""

    seq: int
    at: datetime
    who: str
    action: str
    reason: str
    late: bool
    clock_suspect: bool
    changes: tuple[Change, ...]


def timeline(row: Kept, zone: ZoneInfo) -> list[Happening]:
    """Return what happened to a row and to those it superseded, newest first."""
    label = row._meta.label_lower
    events = list(Event.objects.filter(subject_kind=label, subject_id__in=_chain(row)).order_by("-seq"))
    found = [(event, _differences(row, event)) for event in events]
    names = _names(row, [pair for _event, pairs in found for pair in pairs])
    return [_happening(event, pairs, zone, names) for event, pairs in found]


def _chain(row: Kept) -> list[int]:
    ids = [row.pk]
    model: Any = type(row)
    before = row.supersedes_id if isinstance(row, Entry) else None  # type: ignore[attr-defined]  # on each concrete entry
    while before is not None and len(ids) < LONGEST_CHAIN:
        ids.append(before)
        before = model.objects.filter(pk=before).values_list("supersedes_id", flat=True).first()
    return ids


def _differences(row: Kept, event: Event) -> list[tuple[Any, str, str]]:
    """Return field, before and after of what an event changed; nothing for a first entry."""
    told = json.loads(event.payload)
    before, after = told["before"], told["after"]
    if not before:
        return []
    fields = {field.attname: field for field in row._meta.concrete_fields}
    return [
        (fields[name], before[name], after[name])
        for name in after
        if name in before and name in fields and name not in LEFT_OUT and before[name] != after[name]
    ]


def _names(row: Kept, pairs: Iterable[tuple[Any, str, str]]) -> dict[tuple[str, str], str]:
    """Return the names of rows that changed links point to, one query a link."""
    wanted: dict[Any, set[str]] = {}
    for field, before, after in pairs:
        if field.is_relation:
            wanted.setdefault(field, set()).update(text for text in (before, after) if text)
    found = {}
    for field, texts in wanted.items():
        own = getattr(row, field.name) if field.is_cached(row) else None
        if own is not None and texts <= {str(own.pk)}:
            found[field.attname, str(own.pk)] = str(own)
            continue
        for other in field.related_model.objects.filter(pk__in=texts):
            found[field.attname, str(other.pk)] = str(other)
    return found


def _change(field: Any, before: str, after: str, zone: ZoneInfo, names: dict[tuple[str, str], str]) -> Change:
    label = capfirst(str(field.verbose_name))
    found = told(before, after, zone) if isinstance(field, JSONField | TextField) else None
    if found is not None and (found.folded or isinstance(field, JSONField)):
        return Change(label, found.before, found.after, found if found.folded else None)
    old, new = (with_local(recorded_text(field, text, zone, names), zone) for text in (before, after))
    return Change(label, old, new)


def _happening(
    event: Event, pairs: list[tuple[Any, str, str]], zone: ZoneInfo, names: dict[tuple[str, str], str]
) -> Happening:
    changes = tuple(_change(field, before, after, zone, names) for field, before, after in pairs)
    return Happening(
        event.seq, event.recorded_at, event.actor, capfirst(acted(event.action)), event.reason, event.late,
        event.clock_suspect, changes,
    )  # fmt: skip
