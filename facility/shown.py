"""Stored values as the pages write them: days in letters, local times, numbers with their unit."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django.db import models
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from facility.fields import day_text

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from facility.models import Kept

NOTHING = "\u2013"
MOST_PAGES = 10_000


@dataclass(frozen=True, slots=True)
class Shown:
    """One value with its label; ``row`` is set where the value is a row with a page of its own."""

    label: str
    text: str
    row: Any = None
    figure: bool = False


def instant_text(at: datetime, zone: ZoneInfo) -> str:
    """Return an instant in the site's zone: 27 Nov 2026 18:00."""
    local = at.astimezone(zone)
    return f"{day_text(local)} {local:%H:%M}"


def page_number(text: str | None) -> int:
    """Return the page of a list that an address asks for; 1 for anything that is none."""
    return min(max(int(text), 1), MOST_PAGES) if text and text.isdecimal() else 1


def value_text(value: Any, zone: ZoneInfo) -> str:
    """Return one value as text."""
    if value is None or value == "":
        return NOTHING
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    if isinstance(value, datetime):
        return instant_text(value, zone)
    if isinstance(value, date):
        return day_text(value)
    if isinstance(value, Decimal):
        return f"{value.normalize():f}"
    if isinstance(value, list):
        return ", ".join(map(str, value)) or NOTHING
    return str(value)


def of_path(row: Any, path: str, zone: ZoneInfo) -> Shown:
    """Return what a column shows. A path of two words is a value and its unit.

    Where a row has words of its own for a value (``NAME_told``), those.
    """
    value_path, _space, unit_path = path.partition(" ")
    *before, name = value_path.split(".")
    for step in before:
        row = getattr(row, step)
        if row is None:
            return Shown("", NOTHING)
    field: Any = row._meta.get_field(name)
    value = getattr(row, name)
    instead = getattr(row, f"{name}_told", "")
    text = str(getattr(row, f"get_{name}_display")()) if field.choices else instead or value_text(value, zone)
    if unit_path:
        text = f"{text}\u00a0{getattr(row, f'get_{unit_path}_display')()}"
    figure = isinstance(value, Decimal | int) and not isinstance(value, bool)
    return Shown(capfirst(str(field.verbose_name)), text or NOTHING, value if field.is_relation else None, figure)


def label_of(model: type[models.Model], path: str) -> str:
    """Return the label of a column."""
    *before, name = path.partition(" ")[0].split(".")
    for step in before:
        related: Any = model._meta.get_field(step).related_model
        model = related
    return capfirst(str(model._meta.get_field(name).verbose_name))  # type: ignore[union-attr]  # never a reverse relation


def recorded_text(field: Any, text: str, zone: ZoneInfo, names: dict[tuple[str, str], str]) -> str:
    """Return the text that an event kept of a field as the pages write it."""
    if text == "":
        return NOTHING
    if field.is_relation:
        return names.get((field.attname, text), f"{field.verbose_name} {text}")
    if field.choices:
        return str(dict(field.flatchoices).get(text, text))
    try:
        return value_text(_value(field, text), zone)
    except (ValueError, ArithmeticError):
        return text


def _value(field: Any, text: str) -> Any:
    if isinstance(field, models.DateTimeField):
        return datetime.fromisoformat(text)
    if isinstance(field, models.DateField):
        return date.fromisoformat(text)
    if isinstance(field, models.BooleanField):
        return text == "True"
    return Decimal(text) if isinstance(field, models.DecimalField) else text


def all_of(row: Kept, fields: tuple[str, ...], zone: ZoneInfo) -> list[Shown]:
    """Return the values of a row in the order of its form; a unit stands with its value."""
    units = {f"{name}_unit" for name in fields} | {"unit"}
    shown = []
    for name in fields:
        if name in units and name != "gauge_unit":
            continue
        pair = f"{name}_unit" if f"{name}_unit" in fields else "unit" if name == "pressure" and "unit" in fields else ""
        shown.append(of_path(row, f"{name} {pair}".strip(), zone))
    return shown
