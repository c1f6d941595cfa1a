"""What happened to one item, newest first: work, comparisons, defects, repairs, events, looks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from django.urls import reverse
from django.utils.translation import gettext as _

from maintenance.models import Defect, Deferral, Equipment, Happening, Repair, WorkKind, WorkRecord, WorkResult

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date, datetime

    from facility.models import Site

MOST = 200
WORK_MARKS = {WorkResult.PASSED: "indate", WorkResult.FAILED: "stop", WorkResult.UNREAD: "unread"}


@dataclass(frozen=True, slots=True)
class Line:
    """One thing that happened: its day, its mark and words, who, where it is told in full. ``struck``: corrected since."""

    on: date
    mark: str
    title: str
    sub: str
    who: str
    url: str = ""
    struck: bool = False


def history_of(item: Equipment, site: Site) -> list[Line]:
    """Return the newest 200 things that happened to an item, in a constant number of queries."""
    zone = ZoneInfo(site.zone)
    lines = [*_work(item, site), *_defects(item, site, zone), *_events(item), *_looks(item)]
    return sorted(lines, key=lambda line: line.on, reverse=True)[:MOST]


def _day(at: datetime, zone: ZoneInfo) -> date:
    return at.astimezone(zone).date()


def _work(item: Equipment, site: Site) -> Iterator[Line]:
    rows = WorkRecord.objects.filter(equipment=item).select_related("rule", "calibration").order_by("-done_on", "-pk")
    for row in rows[:MOST]:
        calibration = getattr(row, "calibration", None) if row.kind == WorkKind.CALIBRATION else None
        url = (
            reverse("maintenance:calibration", args=[site.key, calibration.pk])
            if calibration is not None
            else reverse("maintenance:work", args=[site.key, row.pk])
        )
        name = row.rule.name if row.rule is not None else row.get_kind_display()
        marks = ["unknown"] if row.doubted_by_id else []
        sub = [row.get_result_display(), row.note]
        if row.doubted_by_id:
            sub.insert(1, _("in doubt since a recall"))
        if row.needs_second_look and row.second_look_at is None:
            sub.insert(1, _("waits for a second look"))
        yield Line(
            row.done_on, marks[0] if marks else WORK_MARKS[WorkResult(row.result)], str(name),
            " · ".join(part for part in sub if part), row.done_by, url, not row.is_current,
        )  # fmt: skip


def _defects(item: Equipment, site: Site, zone: ZoneInfo) -> Iterator[Line]:
    rows = Defect.objects.filter(equipment=item).prefetch_related("repairs").order_by("-found_at")
    for row in rows[:MOST]:
        url = reverse("maintenance:defect", args=[site.key, row.pk])
        tag = _("Tag %(number)04d") % {"number": row.number}
        yield Line(
            _day(row.found_at, zone), "tag", f"{tag}: {row.what}", row.get_effect_display(), row.recorded_by, url,
            not row.is_current,
        )  # fmt: skip
        if not row.is_current:
            continue
        for repair in row.repairs.all():
            yield _repair(repair, tag, url, zone)
        if row.returned_at is not None:
            yield Line(
                _day(row.returned_at, zone), "indate", _("%(tag)s: returned to service") % {"tag": tag},
                row.return_note, row.returned_by, url,
            )  # fmt: skip


def _repair(row: Repair, tag: str, url: str, zone: ZoneInfo) -> Line:
    title = _("%(tag)s: repaired") % {"tag": tag}
    return Line(_day(row.done_at, zone), "open", title, row.what, row.done_by, url, not row.is_current)


def _events(item: Equipment) -> Iterator[Line]:
    for row in Happening.objects.filter(equipment=item).order_by("-happened_on")[:MOST]:
        yield Line(
            row.happened_on, "due", str(row.get_kind_display()), row.note, row.reported_by, "", not row.is_current
        )


def _looks(item: Equipment) -> Iterator[Line]:
    for row in Deferral.objects.filter(rule__equipment=item).select_related("rule").order_by("-looked_on")[:MOST]:
        said = _("clean look: put off") if row.no_damage else _("looked at: damage found, not put off")
        yield Line(row.looked_on, "second", f"{row.rule.name}: {said}", row.why, row.looked_by, "", not row.is_current)
