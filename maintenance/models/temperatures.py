"""Which readings of a bank carry a measured temperature: those of a check do not, no step of a sheet asks for one."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any

from django.db.models import Case, DecimalField, F, Value, When

if TYPE_CHECKING:
    from datetime import datetime

    from django.db.models import QuerySet

#: a measured temperature tells of the room of a bank for so long; common practice, no source: a season
TELLS = timedelta(days=90)


def measured_c() -> Case:
    """Return the temperature of a reading, null where it was not measured."""
    number = DecimalField(max_digits=5, decimal_places=1)
    return Case(When(answer=None, then=F("temperature_c")), default=Value(None), output_field=number)


def with_measured(readings: QuerySet[Any], at: datetime) -> QuerySet[Any]:
    """Return those of some readings that carry a measured temperature which still tells of the room."""
    return readings.filter(answer=None, read_at__gte=at - TELLS)
