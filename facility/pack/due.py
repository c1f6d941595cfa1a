"""The calendar of what is due on the day that a pack is made: plant, cylinders, references. It names no person."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from django.db.models import Q
from django.utils.translation import gettext as _

from facility.pack.bag import one_line
from facility.pack.scope import title_of
from maintenance.models import Cylinder, Equipment, ReferenceCertificate
from maintenance.upkeep.state import due_states

if TYPE_CHECKING:
    from datetime import date, datetime
    from pathlib import Path

    from facility.pack.scope import Scope
    from maintenance.upkeep.state import DueState


@dataclass(frozen=True, slots=True)
class Entry:
    """One thing and its last good day."""

    uid: str
    day: date
    words: str


def write(path: Path, scope: Scope, made_at: datetime) -> int:
    """Write the calendar (RFC 5545) with an all-day entry for each thing; return how many there are."""
    from icalendar import Calendar, Event  # noqa: PLC0415  # needed only here

    calendar = Calendar()
    calendar.add("prodid", "-//Deepstead//pack//EN")
    calendar.add("version", "2.0")
    found = entries(scope, made_at)
    for one in found:
        event = Event()
        event.add("uid", f"{one.uid}@{scope.site.key}.deepstead")
        event.add("dtstamp", made_at)
        event.add("dtstart", one.day)
        event.add("summary", one_line(one.words))
        event.add("transp", "TRANSPARENT")
        calendar.add_component(event)
    path.write_bytes(calendar.to_ical())
    return len(found)


def entries(scope: Scope, made_at: datetime) -> list[Entry]:
    """Return what is due, first due first."""
    today = made_at.astimezone(ZoneInfo(scope.site.zone)).date()
    items = _equipment_of(scope)
    found = [
        Entry(f"rule-{one.rule}", one.due_on, _("Due: %(act)s, %(tag)s %(item)s") % {
            "act": one.act, "tag": one.tag, "item": one.item,
        })
        for one in due_states(scope.site, today)
        if one.due_on is not None and _in_scope(one, scope, items)
    ]  # fmt: skip
    if not scope.code and (not scope.areas or "gas" in scope.areas):
        found += _cylinders(scope)
    if not scope.code and (not scope.areas or "gauges" in scope.areas):
        found += _references(scope)
    return sorted(found, key=lambda one: (one.day, one.uid))


def _in_scope(one: DueState, scope: Scope, items: set[int]) -> bool:
    if scope.code:
        return one.source.startswith(title_of(scope.code))
    if scope.areas:
        return one.kind in scope.kinds
    return one.equipment in items


def _equipment_of(scope: Scope) -> set[int]:
    """Return the items of the chamber, and those that belong to no chamber."""
    rows = Equipment.objects.filter(site=scope.site)
    if scope.chamber is not None:
        rows = rows.filter(Q(chamber=scope.chamber) | Q(chamber=None))
    return set(rows.values_list("pk", flat=True))


def _cylinders(scope: Scope) -> list[Entry]:
    rows = Cylinder.objects.filter(bank__site=scope.site, retired_at=None, test_due_on__isnull=False)
    if scope.chamber is not None:
        rows = rows.filter(Q(bank__chamber=scope.chamber) | Q(bank__chamber=None))
    return [
        Entry(f"cylinder-{pk}", day, _("Due: test of cylinder %(mark)s") % {"mark": mark})
        for pk, mark, day in rows.values_list("pk", "mark", "test_due_on")
        if day is not None
    ]


def _references(scope: Scope) -> list[Entry]:
    rows = ReferenceCertificate.objects.filter(
        reference__site=scope.site, reference__retired_at=None, retired_at=None, due_on__isnull=False
    ).order_by("reference", "-calibrated_on")
    newest: dict[int, Entry] = {}
    for reference, name, day in rows.values_list("reference", "reference__name", "due_on"):
        if day is not None:
            newest.setdefault(
                reference, Entry(f"reference-{reference}", day, _("Due: calibration of %(name)s") % {"name": name})
            )
    return list(newest.values())
