"""Plot of the errors as found over the years: fitted line, its uncertainty band, limits and predicted crossing."""

from __future__ import annotations

from datetime import date
from itertools import pairwise
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from facility.counted import counted
from facility.fields import day_text
from maintenance.calibrating.history import DAYS_A_MONTH, MONTHS
from maintenance.calibrating.plot import PAGE, Palette, Picture, figure, ticks

if TYPE_CHECKING:
    from maintenance.calibrating.history import Drift

STEPS = 24
LONGEST_AHEAD = 60.0
ROOM = 1.15
DRIFT_WIDE = 860.0  # px: alone in its row, it may be wider than a plot of errors
BEFORE = -1.5  # months of room before the first


def drift_svg(drift: Drift, width: float = DRIFT_WIDE, palette: Palette = PAGE) -> str:
    """Return the picture of an instrument's drift. The line stands at the level of each stretch between adjustments."""
    end = _end(drift)
    picture = Picture(width, 300, (BEFORE, end), _heights(drift, end), palette)
    _limits(picture, drift, end)
    _line(picture, drift, end)
    for entry in drift.used:
        one = entry.found
        if one is None:
            continue
        x = picture.x(one.months)
        if one.expanded:
            picture.bar(x, one.error, one.expanded)
        if one.left is not None:
            picture.line((x, picture.y(one.error)), (x, picture.y(one.left)), 1, "2 2")
            picture.mark("left", x, one.left)
        picture.mark("found", x, one.error)
    _crossing(picture, drift, end)
    picture.text(4, 14, _("largest error as found, %(unit)s") % {"unit": drift.unit})
    picture.axes(_years(drift, end), [(one, figure(one, signed=True)) for one in ticks(*picture.y_range, 6)])
    return picture.svg(_label(drift))


def _end(drift: Drift) -> float:
    """Return the time up to which the picture reaches: past the crossing, or a year on."""
    ahead = drift.crosses if drift.crosses is not None else drift.last + MONTHS
    return max(drift.last + 6, min(ahead + 4, drift.last + LONGEST_AHEAD))


def _heights(drift: Drift, end: float) -> tuple[float, float]:
    found = [one.found for one in drift.used if one.found is not None]
    sizes = [abs(one.error) + (one.expanded or 0.0) for one in found]
    sizes += [abs(one.left) for one in found if one.left is not None]
    if drift.limit is not None:
        sizes.append(drift.limit)
    if drift.line is not None:
        sizes.append(min(abs(drift.line.at(end)), 2 * max(sizes, default=1.0)))
    most = (max(sizes, default=0.0) or 1.0) * ROOM
    return -most, most


def _limits(picture: Picture, drift: Drift, end: float) -> None:
    low = picture.x_range[0]
    picture.path([(low, 0.0), (end, 0.0)])
    if drift.limit is None:
        return
    for side in (1, -1):
        if drift.guarded is not None and drift.guarded < drift.limit:
            picture.hatched((low, end), (side * drift.limit, side * max(0.0, drift.guarded)))
        picture.path([(low, side * drift.limit), (end, side * drift.limit)], 2.5)


def _line(picture: Picture, drift: Drift, end: float) -> None:
    """Draw the line and its band, stretch by stretch: before each adjustment it stood elsewhere."""
    line = drift.line
    if line is None:
        return
    stretches: list[tuple[float, float, float]] = []
    start = 0.0
    for entry in drift.used:
        if entry.found is not None and entry.found.left is not None:
            stretches.append((start, entry.found.months, entry.shift))
            start = entry.found.months
    stretches.append((start, drift.last, 0.0))
    for first, last, shift in stretches:
        if last > first:
            picture.path([(first, line.at(first) - shift), (last, line.at(last) - shift)], 2)
            _band(picture, drift, (first, last), shift)
    for piece in within([(drift.last, line.at(drift.last)), (end, line.at(end))], *picture.y_range):
        picture.path(piece, 2, "6 4")
    _band(picture, drift, (drift.last, end), 0.0)


def _band(picture: Picture, drift: Drift, span: tuple[float, float], shift: float) -> None:
    line, k = drift.line, drift.k
    if line is None or k is None:
        return
    times = [span[0] + (span[1] - span[0]) * step / STEPS for step in range(STEPS + 1)]
    for side in (1, -1):
        points = [(time, line.at(time) - shift + side * k * line.u_at(time)) for time in times]
        for piece in within(points, *picture.y_range):
            picture.path(piece, 1, "2 3")


def within(points: list[tuple[float, float]], low: float, high: float) -> list[list[tuple[float, float]]]:
    """Return the pieces of a line that run between two heights, cut where they leave them.

    >>> within([(0.0, 0.0), (1.0, 4.0), (2.0, 0.0)], -1.0, 2.0)
    [[(0.0, 0.0), (0.5, 2.0)], [(1.5, 2.0), (2.0, 0.0)]]
    """
    pieces: list[list[tuple[float, float]]] = []
    for (x1, y1), (x2, y2) in pairwise(points):
        turns = [0.0, 1.0]
        turns += [share for bound in (low, high) if y1 != y2 and 0 < (share := (bound - y1) / (y2 - y1)) < 1]
        for first, last in pairwise(sorted(turns)):
            if low <= y1 + (first + last) / 2 * (y2 - y1) <= high:
                start, end = ((x1 + share * (x2 - x1), y1 + share * (y2 - y1)) for share in (first, last))
                if pieces and pieces[-1][-1] == start:
                    pieces[-1].append(end)
                else:
                    pieces.append([start, end])
    return pieces


def _crossing(picture: Picture, drift: Drift, end: float) -> None:
    words = ((drift.crosses_at_earliest, _("at the earliest %(day)s")), (drift.crosses, _("line: %(day)s")))
    for number, (months, text) in enumerate(words):
        day = drift.day(months)
        if months is None or day is None or months > end:
            continue
        x, top = picture.x(months), picture.top
        picture.line((x, top), (x, picture.height - picture.bottom), 1.5, "" if number else "4 3")
        away = -1 if drift.line is not None and drift.line.at(end) > 0 else 1  # where neither line nor limit runs
        y = picture.y(away * picture.y_range[1] / 2) - 18 * number
        picture.words_over(x - 5, y, text % {"day": day_text(day)})


def _years(drift: Drift, end: float) -> list[tuple[float, str]]:
    last = drift.day(end) or drift.first_on
    years = range(drift.first_on.year, last.year + 1)
    marks = [((date(year, 1, 1) - drift.first_on).days / DAYS_A_MONTH, str(year)) for year in years]
    return [one for one in marks if BEFORE <= one[0] <= end]


def _label(drift: Drift) -> str:
    used, unit = counted(len(drift.used), "comparison", "comparisons"), drift.unit
    if drift.line is None:
        return _("Largest errors as found of %(used)s. The table beside it has every figure.") % {"used": used}
    text = _("Largest errors as found of %(used)s; drift %(slope)s %(unit)s a year.") % {
        "used": used, "slope": figure(drift.line.slope * MONTHS, signed=True), "unit": unit,
    }  # fmt: skip
    day = drift.day(drift.crosses)
    if day is not None:
        text += " " + _("The line reaches the limit on %(day)s.") % {"day": day_text(day)}
    return text + " " + _("The table beside it has every figure.")
