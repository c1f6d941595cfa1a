"""The rows of a site as they were known at an instant: told anew from the log up to then, never from the rows of today.

Each event keeps the values that it left, as texts. What was entered late counts from the day it was entered, a
correction from the day it was made; what is void now but was not then still counts.
"""

from __future__ import annotations

import json
from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING, Any

from facility.models import Event

if TYPE_CHECKING:
    from collections.abc import Iterable

    from django.db import models

    from facility.models import Site

AT_ONCE = 1000


@dataclass(slots=True)
class Row:
    """One row as it stood: its fields as texts, and the numbers of its first and its newest event until then."""

    pk: int
    first: int
    recorded_at: datetime
    late: bool
    imported: bool
    last: int = 0
    superseded: bool = False
    fields: dict[str, str] = field(default_factory=dict)

    @property
    def counts(self) -> bool:
        """Whether it was neither void nor taken the place of."""
        return not self.fields.get("retired_at")

    def text(self, name: str) -> str:
        """Return a field as text, nothing where it has none."""
        return self.fields.get(name, "")

    def instant(self, name: str) -> datetime | None:
        """Return an instant, None where there is none."""
        text = self.text(name)
        return datetime.fromisoformat(text) if text else None

    def day(self, name: str) -> date | None:
        """Return a civil day, None where there is none."""
        text = self.text(name)
        return date.fromisoformat(text[:10]) if text else None

    def number(self, name: str) -> Decimal | None:
        """Return a number, None where there is none."""
        try:
            return Decimal(self.text(name))
        except InvalidOperation:
            return None

    def link(self, name: str) -> int:
        """Return the number of the row that it names, 0 for none."""
        return int(self.text(name) or 0)

    def yes(self, name: str) -> bool:
        """Return whether a field was true."""
        return self.text(name) == "True"

    def told(self, name: str) -> Any:
        """Return a field of JSON, None where it has none."""
        text = self.text(name)
        return json.loads(text) if text else None


class Known:
    """What was recorded of some kinds of rows at a site before an instant. One query."""

    def __init__(self, site: Site, before: datetime, kinds: Iterable[type[models.Model]]) -> None:
        self.site, self.before = site, before
        self._rows: dict[str, dict[int, Row]] = defaultdict(dict)
        self.newest = 0
        labels = [one._meta.label_lower for one in kinds]
        events = Event.objects.filter(site_id_text=site.key, recorded_at__lt=before, subject_kind__in=labels)
        told = events.order_by("seq").values_list(
            "seq", "subject_kind", "subject_id", "action", "recorded_at", "late", "payload"
        )
        for seq, kind, pk, action, at, late, payload in told.iterator(chunk_size=AT_ONCE):
            if pk is not None:
                self._take(kind, Row(pk, seq, at, late, action == "imported"), json.loads(payload)["after"])
            self.newest = seq

    def _take(self, kind: str, said: Row, after: dict[str, str]) -> None:
        row = self._rows[kind].setdefault(said.pk, said)
        row.last = said.first
        row.fields.update(after)
        before = after.get("supersedes_id", "")
        if row is said and before:
            old = self._rows[kind].get(int(before))
            if old is not None:
                old.fields["retired_at"], old.last, old.superseded = str(said.recorded_at), said.first, True

    def every(self, kind: type[models.Model]) -> list[Row]:
        """Return the rows of a kind, void ones too, the first recorded first."""
        return list(self._rows[kind._meta.label_lower].values())

    def of(self, kind: type[models.Model]) -> list[Row]:
        """Return the rows of a kind that counted."""
        return [row for row in self.every(kind) if row.counts]

    def one(self, kind: type[models.Model], pk: int) -> Row | None:
        """Return one row, None where it was not known yet."""
        return self._rows[kind._meta.label_lower].get(pk)
