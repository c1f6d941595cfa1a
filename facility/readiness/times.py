"""Words for instants as seen from now: 18:00 within a day, Thu 3 Dec 18:00 within a week, 14 Jan 2027 beyond.

The end of a day is written 24:00 of that day (ISO 8601-1:2019/Amd 1:2022 allows it; from memory), so that
"good through 3 Dec" does not read as the day after.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.utils.dateformat import format as date_words
from django.utils.translation import gettext as _

from facility.compute.instants import MINUTES_PER_DAY, Instant, datetime_of

WEEK_MIN = 7 * MINUTES_PER_DAY


def local(at: Instant, zone: str) -> datetime:
    """Return an instant by the clock of the site."""
    return datetime_of(at).astimezone(ZoneInfo(zone))


def end_words(there: datetime) -> tuple[datetime, str]:
    """Return the day and the hour of an end: midnight is 24:00 of the day before."""
    if there.hour == 0 and there.minute == 0:
        return there - timedelta(minutes=1), "24:00"
    return there, date_words(there, "H:i")


def of_end(end: datetime, zone: str) -> str:
    """Write the instant of an end in full by the clock of the site: 27 Nov 2026 18:00."""
    there, hour = end_words(end.astimezone(ZoneInfo(zone)))
    return date_words(there, "j M Y ") + hour


def until(minutes: int, at: Instant, zone: str) -> str:
    """Write the instant that lies ``minutes`` after ``at``, as short as it stays clear."""
    here = local(at, zone)
    day, hour = end_words(local(at + minutes, zone))
    if minutes < MINUTES_PER_DAY:
        return hour
    if minutes < WEEK_MIN:
        return date_words(day, "D j M ") + hour
    return date_words(day, "j M" if day.year == here.year else "j M Y")


def of_run(start_min: int, duration_min: int, at: Instant, zone: str) -> str:
    """Write from when to when a run would last; the day is named unless it begins within 24 hours."""
    here, start = local(at, zone), local(at + start_min, zone)
    _day, end = end_words(local(at + start_min + duration_min, zone))
    span = _("%(start)s to %(end)s") % {"start": date_words(start, "H:i"), "end": end}
    if start_min < MINUTES_PER_DAY:
        return span
    return f"{date_words(start, 'j M' if start.year == here.year else 'j M Y')}, {span}"


def day_name(day: datetime, here: datetime) -> str:
    """Return today, tomorrow, or the day; both by the clock of the site."""
    apart = (day.date() - here.date()).days
    if apart == 0:
        return _("today")
    if apart == 1:
        return _("tomorrow")
    return date_words(day, "D j M" if day.year == here.year else "j M Y")
