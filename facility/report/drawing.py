"""Pictures of a report: a calendar of days and bars over a period. Black on white, shapes carry the meaning."""

from __future__ import annotations

import base64
from typing import TYPE_CHECKING, Final
from xml.sax.saxutils import escape

from facility.report.gaps import Mark

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

WIDTH: Final = 680
LEFT: Final = 80.0
STEP: Final = (WIDTH - LEFT - 10) / 31
LINE: Final = 17
LETTERS: Final = 'font-family="Plex" font-size="10"'
BAR_LINE: Final = 15
BAR_LEFT: Final = 210.0
LONGEST_LABEL: Final = 36
#: of a legend's words, on the wide side
LETTER: Final = 4.9
YEAR: Final = 12
RIBBON_LEFT: Final = 110.0
#: months between two ticks, and up to how many months of the whole
TICKS: Final = ((1, 18), (3, 48), (YEAR, 10_000))

#: drawn about the middle of a day
SHAPES: Final = {
    Mark.SIGNED: '<circle r="1.8" fill="#000"/>',
    Mark.OUTSIDE: '<circle r="4.6" fill="#fff" stroke="#000" stroke-width="1.2"/><path d="M-4.6 0a4.6 4.6 0 0 0 9.2 0z" fill="#000"/>',
    Mark.LATE: '<path d="M-4.5 -4.5h5l4.5 4.5-4.5 4.5h-5z" fill="#fff" stroke="#000" stroke-width="1.2"/>',
    Mark.PAPER: '<circle r="2.6" fill="#fff" stroke="#000" stroke-width="1.1"/>',
    Mark.GAP: '<path d="M-4.5 -4.5h9v9h-9z" fill="#fff" stroke="#000" stroke-width="1.4"/><path d="M-6.2 0h12.4" stroke="#000" stroke-width="2.6"/>',
    Mark.CLOSED: '<path d="M-4.5 0h9" stroke="#000" stroke-width="1.2"/>',
    Mark.NOT_OWED: "",
}  # fmt: skip


def address_of(svg: str) -> str:
    """Return a picture as an address within the page."""
    return "data:image/svg+xml;base64," + base64.b64encode(svg.encode()).decode()


def _whole(width: float, height: float, parts: Sequence[str]) -> str:
    inside = "".join(parts)
    return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" width="{width:g}" height="{height:g}">{inside}</svg>'


def calendar(months: Sequence[tuple[str, Sequence[tuple[int, Mark]]]], legend: Sequence[tuple[Mark, str]]) -> str:
    """Return a calendar: a line a month with (day of the month, mark), the days of a month across, and its legend."""
    parts = [_text(LEFT + STEP * (day - 0.5), 11, str(day), "middle") for day in range(1, 32)]
    y = 20.0
    for label, days in months:
        parts.append(f'<path d="M0 {y:g}h{WIDTH}" stroke="#777" stroke-width=".5"/>')
        parts.append(_text(0, y + 12.5, label, bold=True))
        parts += [_placed(LEFT + STEP * (day - 0.5), y + LINE / 2, SHAPES[mark]) for day, mark in days if SHAPES[mark]]
        y += LINE
    parts.append(f'<path d="M0 {y:g}h{WIDTH}" stroke="#000" stroke-width="1.6"/>')
    x = 6.0
    for mark, words in legend:
        parts.append(_placed(x, y + 15, SHAPES[mark]))
        parts.append(_text(x + 11, y + 18.5, words))
        x += 20 + LETTER * len(words)
    return _whole(WIDTH, y + 26, parts)


def bars(first: date, last: date, rows: Sequence[tuple[str, bool, Sequence[tuple[date, date]]]]) -> str:
    """Return bars over days: rows of (label, whether it opens a group, spans of days); a tick each first of a month."""
    days = (last - first).days + 1
    across = (WIDTH - BAR_LEFT - 4) / days
    height = 20 + BAR_LINE * len(rows) + 4
    parts = []
    for month, at in _firsts(first, last):
        x = BAR_LEFT + (at - first).days * across
        parts.append(f'<path d="M{x:.1f} 14v{height - 18:g}" stroke="#777" stroke-width=".5"/>')
        parts.append(_text(x + 2, 11, month))
    y = 20.0
    for label, opens, spans in rows:
        if opens:
            parts.append(f'<path d="M0 {y:g}h{WIDTH}" stroke="#777" stroke-width=".5"/>')
        parts.append(_text(0 if opens else 10, y + 11, _short(label), bold=opens))
        for begins, ends in spans:
            left, right = max(begins, first), min(ends, last)
            if left <= right:
                x, wide = BAR_LEFT + (left - first).days * across, ((right - left).days + 1) * across
                shape = 'fill="#000"' if opens else 'fill="#fff" stroke="#000"'
                parts.append(f'<rect x="{x:.1f}" y="{y + 4:g}" width="{wide:.1f}" height="7" {shape}/>')
        y += BAR_LINE
    parts.append(f'<path d="M0 {y:g}h{WIDTH}" stroke="#000" stroke-width="1.6"/>')
    return _whole(WIDTH, height, parts)


def ribbon(first: date, last: date, rows: Sequence[tuple[str, Mark | None, Sequence[tuple[date, date]]]]) -> str:
    """Return what is not in order along the days: rows of (label, mark or a bar, spans of days); a tick each first of a month."""
    across = (WIDTH - RIBBON_LEFT - 8) / ((last - first).days + 1)
    parts = []
    for month, at in _firsts(first, last):
        x = RIBBON_LEFT + (at - first).days * across
        parts.append(f'<path d="M{x:.1f} 2v14" stroke="#000" stroke-width=".8"/>')
        parts.append(_text(x + 3, 11, month))
    y = 16.0
    parts.append(f'<path d="M{RIBBON_LEFT:g} {y:g}H{WIDTH}" stroke="#000" stroke-width="1.6"/>')
    for label, mark, spans in rows:
        parts.append(_text(0, y + 12, label))
        parts.append(f'<path d="M0 {y + LINE:g}H{WIDTH}" stroke="#777" stroke-width=".5"/>')
        for begins, ends in spans:
            left, right = max(begins, first), min(ends, last)
            if left > right:
                continue
            x, wide = RIBBON_LEFT + (left - first).days * across, max(2.5, ((right - left).days + 1) * across)
            shape = "" if mark is None else SHAPES[mark]
            bar = f'<rect x="{x:.1f}" y="{y + 5:g}" width="{wide:.1f}" height="7" fill="#fff" stroke="#000"/>'
            parts.append(_placed(x + wide / 2, y + LINE / 2, shape) if shape else bar)
        y += LINE
    return _whole(WIDTH, y + 2, parts)


def _firsts(first: date, last: date) -> list[tuple[str, date]]:
    """Return the first of each month, of each quarter or of each year, as many as have room."""
    months = (last.year - first.year) * 12 + last.month - first.month
    step = next(step for step, most in TICKS if months <= most)
    found, at = [], first.replace(day=1)
    while at <= last:
        if at >= first and (at.month - 1) % step == 0:
            found.append((f"{at:%Y}" if step == YEAR else f"{at:%m/%y}", at))
        at = at.replace(year=at.year + at.month // 12, month=at.month % 12 + 1)
    return found


def _short(label: str) -> str:
    return label if len(label) <= LONGEST_LABEL else label[: LONGEST_LABEL - 1] + "\u2026"


def _placed(x: float, y: float, shape: str) -> str:
    return f'<g transform="translate({x:.1f} {y:.1f})">{shape}</g>'


def _text(x: float, y: float, words: str, anchor: str = "start", *, bold: bool = False) -> str:
    weight = ' font-weight="700"' if bold else ""
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" {LETTERS}{weight}>{escape(words)}</text>'
