"""Plot of one run: the error at each point, rising and falling, against limits, with uncertainty bars."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _

from facility.counted import counted
from maintenance.calibrating.judging import limits_for
from maintenance.calibrating.plot import PAGE, WIDE, Palette, Picture, figure, ticks
from maintenance.calibrating.words import verdict_words
from maintenance.compute.gauge_limits import LOWER_MARK, UPPER_MARK

if TYPE_CHECKING:
    from maintenance.models import Calibration

#: error of a run, its mark, and how far beside its reference value it stands, px
READINGS = (("error_up", "rising", -6), ("error_down", "falling", 6), ("error_again", "again", 18))
ROOM = 1.18


def errors_svg(row: Calibration, run: dict[str, Any], width: float = WIDE, palette: Palette = PAGE) -> str:
    """Return the picture of one run of a comparison."""
    picture = _picture(row, run, width, palette)
    unit = row.unit
    zones = _zones(row, run)
    guard = float(row.choices.get("guard_factor") or 1) * run["expanded"]
    guarded = row.choices["decision_rule"] != "simple"
    for first, last, limit in zones:
        for side in (limit, -limit):
            if guarded:
                inner = max(0.0, limit - guard) * (1 if side > 0 else -1)
                picture.hatched((first, last), (side, inner))
            picture.path([(first, side), (last, side)], 2.5)
    picture.path([(picture.x_range[0], 0.0), (picture.x_range[1], 0.0)], 1)
    for point in run["points"]:
        for name, mark, beside in READINGS:
            if point[name] != "":
                x, error = picture.x(float(point["reference"])) + beside, float(point[name])
                picture.bar(x, error, run["expanded"])
                picture.mark(mark, x, error)
    worst = f"{figure(float(run['largest_error']), signed=True)} \u00b1 {run['expanded']:.2g} {unit}"
    picture.text(width - picture.right, 14, _("worst %(error)s") % {"error": worst}, "end", strong=True)
    picture.text(4, 14, _("error, %(unit)s") % {"unit": unit})
    picture.text(picture.left - 8, picture.height - picture.bottom + 19, unit, "end")
    picture.axes(
        [(one, figure(one)) for one in ticks(*picture.x_range, 4 if picture.narrow else 8)],
        [(one, figure(one, signed=True)) for one in ticks(*picture.y_range, 7)],
    )
    return picture.svg(_label(run, unit))


def _picture(row: Calibration, run: dict[str, Any], width: float, palette: Palette) -> Picture:
    sizes = [float(point["limit"]) for point in run["points"]]
    sizes += [
        abs(float(point[name])) + run["expanded"] for point in run["points"] for name, _m, _b in READINGS if point[name]
    ]
    most = max([*sizes, *(limit for _f, _l, limit in _zones(row, run))]) * ROOM
    references = [float(point["reference"]) for point in run["points"]]
    low, high = min(float(row.scale_low), *references), max(float(row.scale_high), *references)
    beside = (high - low) * 0.03
    return Picture(width, 340, (low - beside, high + beside), (-most, most), palette)


def _zones(row: Calibration, run: dict[str, Any]) -> list[tuple[float, float, float]]:
    """Return start, end and limit of each stretch of the scale."""
    low, high = float(row.scale_low), float(row.scale_high)
    limits = limits_for(row.choices)
    if limits.percents is None or row.equipment.kind == "clock":
        return [(low, high, float(run["limit"]))]
    span = high - low
    marks = (low, low + float(LOWER_MARK) * span, low + float(UPPER_MARK) * span, high)
    return [
        (start, end, float(percent) * span / 100)
        for start, end, percent in zip(marks[:-1], marks[1:], limits.percents, strict=True)
    ]


def _label(run: dict[str, Any], unit: str) -> str:
    return _("Errors at %(points)s with limits: %(verdict)s; worst %(error)s %(unit)s at %(at)s; limit %(limit)s %(unit)s."
             " The table beside it has every figure.") % {
        "points": counted(len(run["points"]), "point", "points"), "verdict": verdict_words(run["verdict"]), "error": run["largest_error"],
        "at": run["largest_error_at"], "limit": run["limit"], "unit": unit,
    }  # fmt: skip
