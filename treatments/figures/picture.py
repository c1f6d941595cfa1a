"""The profile of a run as a picture: planned, logged and recorded depth, oxygen of each person, departures, readings.

Readable in black and white: kinds of line differ by dash and width, bars by filling. The same on pages and in
documents; the data table beside it holds what it shows.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from treatments.compute.phases import phases, stops
from treatments.compute.tables import OXYGEN
from treatments.compute.thinning import thinned
from treatments.figures.canvas import GRID, Canvas, ticks
from treatments.figures.sum import elapsed

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from treatments.compute.tables import Segment
    from treatments.figures.shape import Figures, PersonFigures

LANE, LANE_BAR = 24, 13
LEGEND = 26
PLANNED, RECORDED, HELD = "7 4", "", "2 3"
SPACE_OF_A_VALUE = 58
SPACE_OF_A_STOP = 130


def svg(
    figures: Figures,
    width: int = 960,
    height: int = 0,
    *,
    samples: Sequence[tuple[float, float]] = (),
    ink: str = "currentColor",
) -> str:
    """Return the picture of a run.

    ``height`` 0: as high as its lanes ask. ``samples``: (minute of the run, fsw) as recorded, in order, thinned to the
    extremes of each column of pixels; without them the pieces of the records are drawn. ``ink``: one colour for all.
    """
    lanes = len(figures.people) + (2 if figures.readings else 0)
    bottom = LANE * lanes + LEGEND + 22
    canvas = Canvas(
        width,
        height or 260 + bottom,
        ink,
        0.0,
        _ends(figures),
        _deepest(figures),
        left=max(92, width // 10),
        bottom=bottom,
    )
    _axes(canvas)
    if figures.moved:
        canvas.curve(corners(figures.moved), 1.4, PLANNED)
        _stop_words(canvas, figures)
    _recorded(canvas, figures, samples)
    _logged(canvas, figures)
    _departures(canvas, figures)
    lane = canvas.top + canvas.plot_height + 26
    for one in figures.people:
        _oxygen(canvas, figures, one, lane)
        lane += LANE
    _readings(canvas, figures, lane)
    _legend(canvas, figures, canvas.height - 8)
    return canvas.whole(_("Depth of the run against time"), about(figures))


def about(figures: Figures) -> str:
    """Say in a sentence what the picture shows."""
    said = []
    if figures.depth.logged_fsw is not None and figures.ended_at is None:
        said.append(_("Last logged %(depth)s fsw.") % {"depth": f"{figures.depth.logged_fsw:g}"})
    if figures.track is not None:
        said.append(
            _("Deepest %(depth)s fsw, run time %(time)s.")
            % {"depth": f"{figures.track.deepest_fsw:g}", "time": elapsed(figures.elapsed_min)}
        )
    said += [
        _("%(who)s: %(minutes)d min on oxygen.") % {"who": one.label, "minutes": round(one.oxygen_min)}
        for one in figures.people
    ]
    count = 0 if figures.conformity is None else len(figures.conformity.found)
    words = ngettext(
        "%(count)d departure from the table, numbered.", "%(count)d departures from the table, numbered.", count
    )
    said.append(words % {"count": count})
    return " ".join(said)


def _ends(figures: Figures) -> float:
    ends = [figures.elapsed_min, sum(one.minutes for one in figures.moved)]
    ends += [piece[2] for one in figures.recorded for piece in one.pieces]
    return max(1.0, *ends)


def _deepest(figures: Figures) -> float:
    depths = [one.start_fsw for one in figures.moved]
    depths += [] if figures.track is None else [figures.track.deepest_fsw]
    depths += [max(piece[3:]) for one in figures.recorded for piece in one.pieces]
    return 1.06 * max(10.0, *depths, 0.0)


def _axes(canvas: Canvas) -> None:
    top, bottom = canvas.top, canvas.top + canvas.plot_height
    for depth in ticks(canvas.deepest_fsw, (5, 10, 20, 30, 50, 100), 7):
        y = canvas.y(depth)
        canvas.line((canvas.left, y), (canvas.width - canvas.right, y), 0.6, GRID)
        canvas.text((canvas.left - 8, y + 4), f"{depth:g}", anchor="end")
    canvas.text((0, top + 4), _("fsw"))
    last = 0.0
    for minute in ticks(canvas.end_min, (5, 15, 30, 60, 120, 240, 720, 1440), 10):
        x = canvas.x(minute)
        canvas.line((x, top - 5), (x, bottom), 0.6, GRID)
        canvas.text((x, top - 10), elapsed(minute)[:-3], anchor="middle" if minute else "start")
        last = x
    canvas.line((canvas.left, top), (canvas.left, bottom), 1.2)
    canvas.line((canvas.left, top), (max(last, float(canvas.width - canvas.right)), top), 1.2)


def corners(segments: Iterable[Segment]) -> list[tuple[float, float]]:
    """Return segments as points of minute and depth."""
    found: list[tuple[float, float]] = []
    minute = 0.0
    for one in segments:
        if not found:
            found.append((minute, one.start_fsw))
        minute += one.minutes
        found.append((minute, one.end_fsw))
    return found


def _stop_words(canvas: Canvas, figures: Figures) -> None:
    """Write beside each long enough planned stop how deep it is and until when."""
    for one in stops(phases(figures.moved, 0.0)):
        left, right = canvas.x(one.start_min), canvas.x(one.end_min)
        if right - left >= SPACE_OF_A_STOP:
            words = _("%(depth)s fsw until %(time)s")
            said = words % {"depth": f"{one.start_fsw:g}", "time": elapsed(one.end_min)[:-3]}
            canvas.text(((left + right) / 2, canvas.y(one.start_fsw) - 8), said, anchor="middle")


def _recorded(canvas: Canvas, figures: Figures, samples: Sequence[tuple[float, float]]) -> None:
    if samples:
        canvas.curve(thinned(samples, canvas.start_min, canvas.end_min, canvas.plot_width), 0.8, RECORDED)
        return
    for one in figures.recorded:
        for kind, start, end, top, bottom in one.pieces:
            if kind == "gap":
                canvas.hatched(start, end, canvas.y(max(top, bottom)) - 4, 8)
            else:
                canvas.curve([(start, top), (end, bottom)], 0.8, RECORDED)


def _logged(canvas: Canvas, figures: Figures) -> None:
    track = figures.track
    if track is None:
        return
    canvas.curve([one for one in track.points if one[0] <= track.logged_until + 1e-6], 3)
    if track.until > track.logged_until:
        held = track.points[-1][1]
        canvas.curve([(track.logged_until, held), (track.until, held)], 1.6, HELD)
    if figures.ended_at is None:
        now = canvas.x(figures.elapsed_min)
        canvas.line((now, canvas.top), (now, canvas.top + canvas.plot_height), 1.6)
        canvas.text((now + 4, canvas.top + 14), _("now"), bold=True)


def _departures(canvas: Canvas, figures: Figures) -> None:
    for number, (_who, one) in enumerate(figures.conformity.found if figures.conformity else (), 1):
        canvas.flag(one.minute, one.depth_fsw, number)


def _oxygen(canvas: Canvas, figures: Figures, one: PersonFigures, top: int) -> None:
    """Draw one person: a line while under pressure, filled bars on oxygen, open ones for oxygen still to come."""
    label = one.label if len(one.label) <= canvas.left // 8 else one.label[: canvas.left // 8 - 1] + "."
    canvas.text((0, top + 11), label)
    for start, end in one.stays:
        canvas.line((canvas.x(start), top + LANE_BAR), (canvas.x(end), top + LANE_BAR), 1)
    for part in one.breathed:
        if part.gas == OXYGEN:
            canvas.box(part.start_min, part.end_min, top, LANE_BAR, filled=True)
    if not (one.is_patient and one.inside_now):
        return
    minute = 0.0
    for piece in figures.moved:
        start, minute = minute, minute + piece.minutes
        if piece.gas == OXYGEN and minute > figures.elapsed_min:
            canvas.box(max(start, figures.elapsed_min), minute, top, LANE_BAR, filled=False)


def _readings(canvas: Canvas, figures: Figures, top: int) -> None:
    """Write the oxygen of the chamber and the temperature where there is room; the table has all of them."""
    if figures.started_at is None:
        return
    for row, (what, unit) in enumerate((("O2", "%"), ("temperature", "°C"))):
        seen = [one for one in figures.readings if one[1] == what]
        y, last = top + row * LANE + 11, -float(SPACE_OF_A_VALUE)
        if seen:
            canvas.text((0, y), f"{what if what == 'O2' else _('inside')}, {unit}")
        for at, _what, value, _unit in seen:
            x = canvas.x((at - figures.started_at).total_seconds() / 60)
            canvas.line((x, y - 11), (x, y - 7), 1.2)
            if x - last >= SPACE_OF_A_VALUE and x <= canvas.width - canvas.right:
                anchor = "end" if x > canvas.width - canvas.right - SPACE_OF_A_VALUE / 2 else "middle"
                canvas.text((x, y + 4), value, anchor=anchor)
                last = x


def _legend(canvas: Canvas, figures: Figures, y: int) -> None:
    kinds: list[tuple[str, float, str]] = [(_("planned"), 1.4, PLANNED)] if figures.moved else []
    if figures.track is not None:
        kinds.append((_("logged"), 3, ""))
        if figures.track.until > figures.track.logged_until:
            kinds.append((_("held since"), 1.6, HELD))
    if figures.recorded:
        kinds.append((_("recorded"), 0.8, RECORDED))
    x = float(canvas.left)
    for words, width, dash in kinds:
        canvas.line((x, y - 4), (x + 30, y - 4), width, dash)
        canvas.text((x + 36, y), words)
        x += 56 + 7.5 * len(words)
    if figures.people:
        canvas.parts.append(f'<rect x="{x:g}" y="{y - 10:g}" width="26" height="10" fill="{canvas.ink}"/>')
        canvas.text((x + 32, y), _("on oxygen"))
        x += 52 + 7.5 * len(_("on oxygen"))
        if figures.ended_at is None:
            canvas.parts.append(
                f'<rect x="{x:g}" y="{y - 10:g}" width="26" height="10" fill="none" stroke="{canvas.ink}"/>'
            )
            canvas.text((x + 32, y), _("oxygen to come"))
            x += 52 + 7.5 * len(_("oxygen to come"))
        canvas.parts.append(
            f'<path d="M{x + 5:g} {y:g}l-5 -10h10z" fill="none" stroke="{canvas.ink}" stroke-width="1.6"/>'
        )
        canvas.text((x + 16, y), _("departure, see the table"))
