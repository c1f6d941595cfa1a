"""The nightly job: months that are over are pressed and sealed once, so that a pack finds them there."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from django.db.models import Min
from django.utils import timezone

from facility import events
from facility.counted import counted
from facility.models import Check, Site
from facility.report.build import closed_month
from facility.report.scope import Scope, months_of
from maintenance.models import WorkRecord
from treatments.models import Run

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import date, datetime

#: a first night does not go on into the morning: the newest months come first, older ones on later nights
MOST_MADE_A_NIGHT: Final = 36


def render(tell: Callable[[str], object], somebody_waits: Callable[[], bool] = lambda: False) -> str:
    """Make the volumes of closed months that are not there yet; say how many were made and how many there were.

    Between two months it gives way to whoever waits for a pack.
    """
    made = there = 0
    for site in Site.objects.filter(retired_at=None).order_by("key"):
        for first, last in reversed(_closed(site)):
            if made >= MOST_MADE_A_NIGHT:
                return f"{_said(made, there)}; older months follow next night."
            if made and somebody_waits():
                return f"{_said(made, there)}; the rest after what somebody waits for."
            tell(f"{site.key} {first:%Y-%m}")
            for one in closed_month(Scope(site, None, first, last), first, last):
                made, there = made + (not one.warm), there + one.warm
    return f"{_said(made, there)}."


def _said(made: int, there: int) -> str:
    return f"{counted(made, 'volume of a month', 'volumes of months')} made, {there} there already"


def _closed(site: Site) -> list[tuple[date, date]]:
    """Return the whole months from the first record to the last day of the month before this one."""
    with timezone.override(site.zone):
        today = timezone.localdate(events.now())
        found = [_day(Check.objects.filter(sheet__chamber__site=site).aggregate(at=Min("started_at"))["at"])]
        found.append(WorkRecord.objects.filter(equipment__site=site).aggregate(on=Min("done_on"))["on"])
        found.append(_day(Run.objects.filter(chamber__site=site).aggregate(at=Min("started_at"))["at"]))
    begun = [one for one in found if one is not None]
    if not begun:
        return []
    return [span for span in months_of(min(begun).replace(day=1), today) if span[1] < today.replace(day=1)]


def _day(at: datetime | None) -> date | None:
    return None if at is None else timezone.localdate(at)
