"""The band of 14 days on People: one row for each person, with its twin in words."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, time, timedelta
from typing import TYPE_CHECKING

from django.db.models import Q
from django.utils.dateformat import format as words
from django.utils.translation import gettext as _

from facility.models import DutyPeriod, Person

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from facility.models import Site
    from facility.records.states import Moment

ROSTER_DAYS = 14
WHOLE = timedelta(days=ROSTER_DAYS)


@dataclass(frozen=True, slots=True)
class Day:
    """One day of the band: its left edge in per cent, the day of the week, the day of the month."""

    left: str
    weekday: str
    number: str


@dataclass(frozen=True, slots=True)
class DutyBar:
    """One duty period on the band, in per cent from its left edge."""

    row: DutyPeriod
    left: str
    width: str


@dataclass(frozen=True, slots=True)
class RosterLine:
    """One person's duty in the days of the band, drawn and said."""

    person: Person
    bars: tuple[DutyBar, ...]
    said: tuple[str, ...]


def days_of(moment: Moment) -> list[Day]:
    """Return the days of the band, today first."""
    days = [moment.today + timedelta(days=number) for number in range(ROSTER_DAYS)]
    return [Day(_percent(number / ROSTER_DAYS), words(day, "D"), str(day.day)) for number, day in enumerate(days)]


def roster_of(site: Site, everyone: Iterable[Person], moment: Moment) -> list[RosterLine]:
    """Return a line for each person, duty or none."""
    duty = _duty(site, moment)
    return [
        RosterLine(one, tuple(_bar(row, moment) for row in rows), tuple(said_of(rows, moment)))
        for one, rows in ((one, duty.get(one.pk, [])) for one in everyone)
    ]


def said_of(rows: Sequence[DutyPeriod], moment: Moment) -> list[str]:
    """Say the periods in words; those at the same hours of different days share one sentence."""
    days: dict[tuple[str, str, bool], list[datetime]] = {}
    for row in rows:
        start, end = row.starts_at.astimezone(moment.zone), row.ends_at.astimezone(moment.zone)
        if start.date() == end.date():
            key = (words(start, "H:i"), words(end, "H:i"), row.on_call)
        else:
            key = (words(start, "D j M Y H:i"), words(end, "D j M Y H:i"), row.on_call)
        days.setdefault(key, []).append(start)
    return [_sentence(key, starts) for key, starts in days.items()]


def _sentence(key: tuple[str, str, bool], starts: Sequence[datetime]) -> str:
    """Say a period, or the days on which one of the same hours begins."""
    start, end, on_call = key
    where = _("On call") if on_call else _("On site")
    said = {"where": where, "from": start, "to": end, "days": _listed_days(starts)}
    if len(start) > len("00:00"):
        return _("%(where)s %(from)s to %(to)s") % said
    return _("%(where)s %(from)s to %(to)s on %(days)s") % said


def _listed_days(starts: Sequence[datetime]) -> str:
    """List days, each month named once: 25, 26 Nov 2026; 1 Dec 2026."""
    months: dict[str, list[str]] = {}
    for start in starts:
        months.setdefault(words(start, "M Y"), []).append(str(start.day))
    return "; ".join(f"{', '.join(days)} {month}" for month, days in months.items())


def _duty(site: Site, moment: Moment) -> dict[int, list[DutyPeriod]]:
    start = _start(moment)
    end = datetime.combine(moment.today + WHOLE, time(), moment.zone)
    found: dict[int, list[DutyPeriod]] = {}
    rows = DutyPeriod.objects.filter(Q(starts_at__lt=end) & Q(ends_at__gt=start), person__site=site, retired_at=None)
    for row in rows.order_by("starts_at"):
        found.setdefault(row.person_id, []).append(row)
    return found


def _start(moment: Moment) -> datetime:
    return datetime.combine(moment.today, time(), moment.zone)


def _bar(row: DutyPeriod, moment: Moment) -> DutyBar:
    start = _start(moment)
    left = max((row.starts_at - start) / WHOLE, 0.0)
    right = min((row.ends_at - start) / WHOLE, 1.0)
    return DutyBar(row, _percent(left), _percent(max(right - left, 0.003)))


def _percent(share: float) -> str:
    return f"{100 * share:.2f}%"
