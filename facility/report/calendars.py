"""Pictures of the daily checks of a chamber: a line a month, a mark a day, from the month in which one was first owed."""

from __future__ import annotations

from math import ceil
from typing import TYPE_CHECKING

from django.utils.dateformat import format as date_words
from django.utils.translation import gettext as _

from facility.report import drawing, gaps
from facility.report.gaps import Mark
from facility.report.scope import months_of
from facility.report.shape import Picture

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from facility.report.scope import Frame

#: lines of a calendar: two of so many, with their legends, stand on a page of Letter
MONTHS_A_PICTURE = 20
SHOWN = (Mark.SIGNED, Mark.PAPER, Mark.LATE, Mark.OUTSIDE, Mark.GAP, Mark.CLOSED)


def legend() -> list[tuple[Mark, str]]:
    """Return the marks of a calendar in words."""
    words = {
        Mark.SIGNED: _("signed, all within limits"), Mark.OUTSIDE: _("not all within limits"),
        Mark.LATE: _("something entered late"), Mark.PAPER: _("from paper, within limits"), Mark.GAP: _("gap"), Mark.CLOSED: _("closed, announced"),
    }  # fmt: skip
    return [(mark, words[mark]) for mark in SHOWN]


def calendars(frame: Frame, found: Sequence[tuple[str, dict[date, Mark]]]) -> tuple[Picture, ...]:
    """Return pictures of the days of each chamber since a check was first owed or made: a line a month.

    ``found``: the marks of days by chamber. More months than half a page has room for are dealt out evenly to several.
    """
    pictures: list[Picture] = []
    for chamber, marks in found:
        begins_on = next((day for day, mark in marks.items() if mark != Mark.NOT_OWED), None)
        if begins_on is None:
            continue
        months = [span for span in months_of(frame.from_day, frame.to_day) if span[1] >= begins_on]
        at_once = ceil(len(months) / ceil(len(months) / MONTHS_A_PICTURE))
        for start in range(0, len(months), at_once):
            part = months[start : start + at_once]
            name = chamber if len(part) == len(months) else _("%(chamber)s, %(first)s to %(last)s") % {
                "chamber": chamber, "first": frame.day(part[0][0]), "last": frame.day(part[-1][1])}  # fmt: skip
            pictures.append(_calendar(name, part, marks))
    return tuple(pictures)


def _calendar(name: str, months: list[tuple[date, date]], marks: dict[date, Mark]) -> Picture:
    lines = [
        (date_words(first, "b Y").capitalize(), [(day.day, marks[day]) for day in gaps.days_between(first, last)])
        for first, last in months
    ]
    shown = [mark for _label, days in lines for _day, mark in days]
    counts = [(mark, words, sum(1 for one in shown if one == mark)) for mark, words in legend()]
    tally = ", ".join(f"{words}: {count}" for mark, words, count in counts if count or mark == Mark.GAP)
    said = {"chamber": name, "tally": tally}
    return Picture(
        drawing.address_of(drawing.calendar(lines, legend())),
        _("Daily checks of %(chamber)s by day. %(tally)s.") % said, _("Days of %(chamber)s: %(tally)s.") % said,
    )  # fmt: skip
