"""More years of records for a loaded demo: its last year once more for each year before, each row with its event."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Any, Final

from django.db import transaction

from facility import events
from facility.events import What
from facility.models import Check, Entry, Site
from maintenance.models import BankReading, CylinderAnalysis, WorkRecord
from treatments.models import Run

if TYPE_CHECKING:
    from collections.abc import Iterable

    from django.db.models import Model

YEAR: Final = timedelta(days=364)  # whole weeks, so that a day keeps its name
#: kind of record -> the field with its day; their numbers begin anew in each year, so they get a thousand of their own
KINDS: Final[tuple[tuple[type[Any], str], ...]] = (
    (Check, "started_at"), (WorkRecord, "done_on"), (BankReading, "read_at"), (CylinderAnalysis, "analysed_at"),
    (Run, "started_at"),
)  # fmt: skip
NUMBERS_A_YEAR: Final = 10_000
BY: Final = events.system("bench")


def lengthen(site_key: str, years: int) -> int:
    """Store the last year of a site's records again for each of so many years before it; return how many rows."""
    site = Site.objects.get(key=site_key)
    since = events.now() - YEAR
    count = 0
    for model, field in KINDS:
        rows = list(model._base_manager.filter(**{f"{field}__gte": since, "retired_at": None}).order_by("pk"))
        for number in range(1, years + 1):
            count += _store(model, [_earlier(row, number) for row in rows], site.key)
    return count


def _earlier(row: Any, years: int) -> Any:
    """Return a row as it would stand so many years before."""
    values: dict[str, Any] = {}
    for field in row._meta.concrete_fields:
        value = getattr(row, field.attname)
        if isinstance(value, datetime | date) and field.name != "recorded_at":
            value -= YEAR * years
        values[field.attname] = value
    values |= {row._meta.pk.attname: None}
    if isinstance(row, Entry):
        values["supersedes_id"] = None
    if "number" in values:
        values["number"] += NUMBERS_A_YEAR * years
    return type(row)(**values)


def _store(model: type[Model], rows: Iterable[Any], site_key: str) -> int:
    made: list[Any] = model._base_manager.bulk_create(rows, batch_size=1000)
    with transaction.atomic():
        for row in made:
            after = {"id": str(row.pk), "of": str(row)}
            events.record(row, What("imported", after=after, late=True, site_key=site_key), by=BY)
    return len(made)
