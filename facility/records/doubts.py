"""Values that are possible but unlikely: they are asked about once, and then taken.

The limits are common practice, no source: they only decide whether a question is asked.
"""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _

from facility.compute.units import cubic_metres, kpa_from
from facility.reference import units as unit_table

if TYPE_CHECKING:
    from datetime import date, datetime

MOST_STORE_KPA = Decimal(45_000)
MOST_CHAMBER_KPA = Decimal(4_000)
MOST_LOCK_M3 = Decimal(150)
MOST_WATER_LITRES = Decimal(3_000)
COLDEST_C, HOTTEST_C = Decimal(-40), Decimal(65)
MOST_YEARS = 12
LONGEST_DUTY_HOURS = 72

Doubts = list[tuple[str, str]]


def _pressure(typed: dict[str, Any], field: str, unit: str, most_kpa: Decimal) -> Doubts:
    value, name = typed.get(field), typed.get(unit)
    if value is None or not name or kpa_from(value, name, unit_table()) <= most_kpa:
        return []
    return [(field, _("%(value)s %(unit)s? That is more than such a gauge shows.") % {"value": value, "unit": name})]


def of_reading(typed: dict[str, Any]) -> Doubts:
    """Ask about a reading far above any store, in another unit than the gauge, or at a temperature no gas store has."""
    found = _pressure(typed, "pressure", "unit", MOST_STORE_KPA)
    bank, unit = typed.get("bank"), typed.get("unit")
    if bank is not None and unit and unit != bank.gauge_unit:
        found.append(("unit", _("%(unit)s? The gauge of %(bank)s reads %(own)s.") % {
            "unit": unit, "bank": bank, "own": bank.get_gauge_unit_display(),
        }))  # fmt: skip
    temperature = typed.get("temperature_c")
    if temperature is not None and not COLDEST_C <= temperature <= HOTTEST_C:
        found.append(
            ("temperature_c", _("%(value)s °C? Few gas stores are that warm or cold.") % {"value": temperature})
        )
    return found


def of_bank(typed: dict[str, Any]) -> Doubts:
    """Ask about a lowest pressure above any store."""
    return _pressure(typed, "minimum_pressure", "gauge_unit", MOST_STORE_KPA)


def of_lock(typed: dict[str, Any]) -> Doubts:
    """Ask about a lock as large as a house or with the working pressure of a cylinder."""
    found = _pressure(typed, "working_pressure", "working_pressure_unit", MOST_CHAMBER_KPA)
    volume, unit = typed.get("volume"), typed.get("volume_unit")
    if volume is not None and unit and cubic_metres(volume, unit, unit_table()) > MOST_LOCK_M3:
        found.append(("volume", _("%(value)s %(unit)s? No lock is that large.") % {"value": volume, "unit": unit}))
    return found


def of_cylinder(typed: dict[str, Any]) -> Doubts:
    """Ask about a water capacity that no cylinder has."""
    litres = typed.get("water_litres")
    if litres is None or litres <= MOST_WATER_LITRES:
        return []
    return [("water_litres", _("%(value)s L of water? No cylinder holds that much.") % {"value": litres})]


def _span(first: date | None, last: date | None, field: str) -> Doubts:
    if first is None or last is None or (last - first).days <= MOST_YEARS * 366:
        return []
    return [(field, _("More than %(years)d years? Read the day on the paper once more.") % {"years": MOST_YEARS})]


def of_qualification(typed: dict[str, Any]) -> Doubts:
    """Ask about a certificate that is good for a very long time."""
    return _span(typed.get("issued_on"), typed.get("expires_on"), "expires_on")


def of_medical(typed: dict[str, Any]) -> Doubts:
    """Ask about a medical that is good for a very long time."""
    return _span(typed.get("examined_on"), typed.get("good_until"), "good_until")


def of_work(typed: dict[str, Any]) -> Doubts:
    """Ask about a due date that lies very far away."""
    return _span(typed.get("done_on"), typed.get("due_on"), "due_on")


def of_duty(typed: dict[str, Any]) -> Doubts:
    """Ask about a duty of more than three days on end."""
    start: datetime | None = typed.get("starts_at")
    end: datetime | None = typed.get("ends_at")
    if start is None or end is None or (end - start).total_seconds() <= LONGEST_DUTY_HOURS * 3600:
        return []
    return [("ends_at", _("More than %(hours)d hours on end?") % {"hours": LONGEST_DUTY_HOURS})]
