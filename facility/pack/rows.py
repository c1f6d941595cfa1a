"""The rows of a table that belong into a pack: by site, chamber, area or code, and by civil day of the site."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.db.models import DateTimeField, Q, QuerySet

from facility.models import Entry
from facility.pack.scope import title_of
from maintenance.models import IntervalRule

if TYPE_CHECKING:
    from django.db.models import Field

    from facility.pack.fields import Table
    from facility.pack.scope import Scope

EVERYWHERE = "*"
EQUIPMENT = "equipment"
GAS = "gas"
"""The area of what is about a gas bank and has no item."""
EITHER = " | "
"""Between ways to a day or a chamber, of which the first that is known counts."""


def is_in(table: Table, scope: Scope) -> bool:
    """Return whether a table has a place in a scope at all."""
    if EVERYWHERE in table.areas or scope.is_whole or scope.chamber is not None:
        return True
    if scope.code:
        return bool(table.equipment)
    by_kind = EQUIPMENT in table.areas and bool(scope.kinds)
    return by_kind or bool(set(table.areas) & set(scope.areas))


def rows_of(table: Table, scope: Scope, using: str, *, all_days: bool = False) -> QuerySet[Any]:
    """Return the rows in scope, by primary key. ``all_days``: whenever they were."""
    rows = table.model._base_manager.using(using).filter(**{table.site: scope.site.pk})
    rows = rows.filter(_place(table, scope) & _items(table, scope))
    if not all_days:
        rows = rows.filter(_days(table, scope))
    return rows.order_by("pk")


def _place(table: Table, scope: Scope) -> Q:
    """What belongs to a chamber, or to the whole site and so to each of its chambers."""
    if scope.chamber is None or not table.chamber:
        return Q()
    found, unknown = Q(), Q()
    for path in table.chamber.split(EITHER):
        found |= unknown & Q(**{path: scope.chamber.pk})
        unknown &= Q(**{f"{path}__isnull": True})
    return found | unknown


def _items(table: Table, scope: Scope) -> Q:
    if scope.code:
        return _under_code(table, scope)
    by_kind = scope.areas and table.equipment and EQUIPMENT in table.areas
    if not by_kind or set(table.areas) & set(scope.areas):
        return Q()
    path = "kind" if table.equipment == "pk" else f"{table.equipment}__kind"
    found = Q(**{f"{path}__in": scope.kinds})
    if table.bank and GAS in scope.areas:
        found |= Q(**{f"{table.equipment}__isnull": True, f"{table.bank}__isnull": False})
    return found


def _under_code(table: Table, scope: Scope) -> Q:
    """What is about an item for which the code asks something."""
    rules = IntervalRule.objects.filter(equipment__site=scope.site, source__startswith=title_of(scope.code))
    if table.rule:
        return Q(**{f"{table.rule}__in": list(rules.values_list("pk", flat=True))})
    if table.equipment:
        return Q(**{f"{table.equipment}__in": list(rules.values_list("equipment", flat=True).distinct())})
    return Q()


def _days(table: Table, scope: Scope) -> Q:
    """What happened, or was in force, in the period; of statements without days those made by its end.

    A list of things is given as it stands: a thing corrected after the period was there in it.
    """
    if not table.when:
        return Q(recorded_at__lt=scope.ends_at) if issubclass(table.model, Entry) else Q()
    if table.until:
        _from, ends = _bounds(table, table.when, scope)
        begins, _to = _bounds(table, table.until, scope)
        lasts = Q(**{f"{table.until}__gte": begins}) | Q(**{f"{table.until}__isnull": True})
        return Q(**{f"{table.when}__lt": ends}) & lasts
    found, unknown = Q(), Q()
    for path in table.when.split(EITHER):
        begins, ends = _bounds(table, path, scope)
        found |= unknown & Q(**{f"{path}__gte": begins, f"{path}__lt": ends})
        unknown &= Q(**{f"{path}__isnull": True})
    return found | unknown


def _bounds(table: Table, path: str, scope: Scope) -> tuple[Any, Any]:
    """Return first moment and the one after the last: days for a field of days, instants for one of instants."""
    model: Any = table.model
    field: Field[Any, Any] | None = None
    for step in path.split("__"):
        field = model._meta.get_field(step)
        model = getattr(field, "related_model", None)
    if isinstance(field, DateTimeField):
        return scope.starts_at, scope.ends_at
    return scope.from_day, scope.ends_at.date()
