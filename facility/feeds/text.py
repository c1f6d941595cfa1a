"""A calendar as text by RFC 5545: all-day events, folded at 75 octets, texts escaped."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import TYPE_CHECKING, Final

from facility.compute.flags import later

if TYPE_CHECKING:
    from collections.abc import Iterable

    from icalendar import Event

    from facility.feeds.days import Day, Revised

CONTENT_TYPE: Final = "text/calendar; charset=utf-8"
MOST_SEQUENCE: Final = 2**31 - 1
CONTROLS: Final = re.compile(r"[\x00-\x09\x0b-\x1f\x7f\u2028\u2029]+")
"""RFC 5545 section 3.1 allows no control character in a text; a line's end is written as backslash and n."""


def written(name: str, box: str, days: Iterable[Day], revised: Revised) -> bytes:
    """Return the calendar. ``box`` ends each UID: it names site and box, so that no other calendar has it."""
    from icalendar import Calendar  # noqa: PLC0415  # reason: keeps an idle box small

    calendar = Calendar()
    calendar.add("prodid", "-//Deepstead//Calendar//EN")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("name", plain(name))
    calendar.add("x-wr-calname", plain(name))
    calendar.add("refresh-interval", timedelta(hours=6), parameters={"VALUE": "DURATION"})
    for day in days:
        calendar.add_component(_event(day, box, revised))
    return bytes(calendar.to_ical())


def plain(text: str) -> str:
    """Return a text without the characters that no calendar may hold.

    >>> plain("a\\r\\nb\\x07c")
    'a\\nb c'
    """
    return CONTROLS.sub(" ", text.replace("\r\n", "\n").replace("\r", "\n"))


def _event(day: Day, box: str, revised: Revised) -> Event:
    from icalendar import Event as Made  # noqa: PLC0415  # reason: as above

    event = Made()
    event.add("uid", f"{day.key}@{box}")
    event.add("dtstamp", revised.at)
    event.add("last-modified", revised.at)
    event.add("sequence", min(revised.number, MOST_SEQUENCE))
    event.add("dtstart", day.first)
    event.add("dtend", later(day.last or day.first, 1))
    event.add("summary", plain(day.title))
    if day.said:
        event.add("description", plain(day.said))
    event.add("transp", "TRANSPARENT")
    event.add("class", "PRIVATE")
    return event
