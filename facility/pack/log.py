"""The log in a pack: the exact text of events in scope, the digest of every event, signed heads, and the keys."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from django.db.models import Q

from facility.models import Checkpoint, Event, Pack
from facility.pack import fields, rows
from facility.pack.tables import compact

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from pathlib import Path

    from django.db.models import QuerySet

    from facility.pack.fields import Table
    from facility.pack.scope import Scope

BATCH: Final = 2000
NEWEST_HEADS: Final = 60
#: events about no record that tell of the log itself, by how their action begins
OF_THE_LOG: Final = ("backup:", "records:", "restore:", "software:")


@dataclass(frozen=True, slots=True)
class Told:
    """How many events of the period and about its records are told in full, and how many of the period by digest alone."""

    full: int
    digest_only: int


class Sieve:
    """Which events may be told in full: in scope, and with nothing in their text that a pack keeps back."""

    def __init__(self, scope: Scope, using: str) -> None:
        self.scope, self.using = scope, using
        self._ids: dict[str, set[int]] = {}
        self._columns: dict[str, frozenset[str]] = {}

    def lets(self, kind: str, subject: int | None, action: str, payload: str) -> bool:
        """Return whether an event of the site and the period may be told in full."""
        if not kind:
            return self.scope.is_whole and action.startswith(OF_THE_LOG)
        table = fields.by_label().get(kind)
        if table is None or not self._is_about(table, kind, subject):
            return False
        content = json.loads(payload)
        if table.personal and content["reason"].strip():
            return False
        allowed = self._columns.setdefault(kind, table.told_by_events)
        told = {**content["before"], **content["after"]}
        return all(name in allowed for name in told if _says(content, name))

    def _is_about(self, table: Table, kind: str, subject: int | None) -> bool:
        if self.scope.is_whole:
            return True
        if not rows.is_in(table, self.scope):
            return False
        if kind not in self._ids:
            found = rows.rows_of(table, self.scope, self.using, all_days=True)
            self._ids[kind] = set(found.values_list("pk", flat=True))
        return subject in self._ids[kind]


def about(scope: Scope, using: str) -> Q:
    """Return which events of the site are about what is in scope, whenever they were recorded; of the whole all are."""
    if scope.is_whole:
        return Q()
    found = Q(pk__in=[])
    for label, table in fields.by_label().items():
        if rows.is_in(table, scope):
            ids = rows.rows_of(table, scope, using, all_days=True).order_by().values("pk")
            found |= Q(subject_kind=label, subject_id__in=ids)
    return found


def _says(content: dict[str, Any], name: str) -> bool:
    return any(content[side].get(name, "") not in ("", "[]", "{}") for side in ("before", "after"))


def write_events(path: Path, scope: Scope, using: str, size: int) -> Told:
    """Write the events in scope, one JSON object a line, by their number."""
    sieve = Sieve(scope, using)
    since = set(_since(scope, using, size))
    numbers = sorted(since.union(_of_the_days(scope, size).using(using).values_list("seq", flat=True)))
    columns = ("seq", "prev", "digest", "payload", "subject_kind", "subject_id", "action", "site_id_text")
    full = digest_only = 0
    with path.open("w", encoding="utf-8", newline="\n") as target:
        for begin in range(0, len(numbers), BATCH):
            some = Event.objects.using(using).filter(seq__in=numbers[begin : begin + BATCH]).order_by("seq")
            for seq, prev, digest, payload, kind, subject, action, site in some.values_list(*columns):
                if (site or not kind) and sieve.lets(kind, subject, action, payload):
                    told = {"seq": seq, "prev": bytes(prev).hex(), "digest": bytes(digest).hex(), "payload": payload}
                    target.write(compact(told) + "\n")
                    full += 1
                else:
                    digest_only += seq not in since
    return Told(full, digest_only)


def _of_the_days(scope: Scope, size: int) -> QuerySet[Event]:
    return Event.objects.filter(
        site_id_text__in=(scope.site.key, ""), recorded_at__gte=scope.starts_at, recorded_at__lt=scope.ends_at,
        seq__lte=size,
    )  # fmt: skip


def _since(scope: Scope, using: str, size: int) -> Iterator[int]:
    """Yield the numbers of events after the days about what happened in them: late entries, corrections, signatures."""
    for table in fields.by_label().values():
        if not table.when or not rows.is_in(table, scope):
            continue
        found = Event.objects.using(using).filter(
            site_id_text=scope.site.key, subject_kind=table.model._meta.label_lower, recorded_at__gte=scope.ends_at,
            seq__lte=size, subject_id__in=rows.rows_of(table, scope, using).order_by().values("pk"),
        )  # fmt: skip
        yield from found.values_list("seq", flat=True)


def write_leaves(path: Path, size: int) -> None:
    """Write the digest of every event from the first to the one of number ``size``, one a line."""
    found = Event.objects.filter(seq__lte=size).order_by("seq").values_list("digest", flat=True)
    with path.open("w", encoding="ascii", newline="\n") as target:
        for digest in found.iterator(chunk_size=BATCH):
            target.write(bytes(digest).hex() + "\n")


def write_heads(folder: Path, head: Checkpoint, site_key: str) -> None:
    """Write the head that the pack rests on, and earlier ones: the newest, and those of earlier packs."""
    (folder / "checkpoint.note").write_text(head.note, encoding="utf-8", newline="\n")
    older = folder / "checkpoints"
    older.mkdir()
    for size, note in _earlier(head, site_key):
        (older / f"{size:012}.note").write_text(note, encoding="utf-8", newline="\n")


def _earlier(head: Checkpoint, site_key: str) -> Iterable[tuple[int, str]]:
    before = Checkpoint.objects.filter(size__lt=head.size).order_by("-size", "-pk")
    packed = Pack.objects.filter(site__key=site_key, log_size__isnull=False).values_list("log_size", flat=True)
    found = dict(before.values_list("size", "note")[:NEWEST_HEADS])
    found |= dict(before.filter(size__in=list(packed)).values_list("size", "note"))
    return sorted(found.items())
