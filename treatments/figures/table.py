"""What the picture of a run shows, as rows for those who cannot see it."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from treatments.compute.tables import OXYGEN
from treatments.figures.sum import clock, elapsed, figure

if TYPE_CHECKING:
    from treatments.figures.shape import Figures


def depth_rows(figures: Figures) -> list[tuple[str, str, str, str]]:
    """Return each logged depth: run time, site time, depth, what the plan (as moved) has there."""
    left, rows = figures.started_at, []
    if figures.track is None or left is None:
        return []
    for minute, depth in figures.track.points:
        words = figure(depth) if minute <= figures.track.logged_until + 1e-6 else _("%s, held") % figure(depth)
        rows.append(
            (elapsed(minute), clock(left + timedelta(minutes=minute), figures.zone), words, _planned(figures, minute))
        )
    return rows


def _planned(figures: Figures, minute: float) -> str:
    start = 0.0
    for one in figures.moved:
        end = start + one.minutes
        if start <= minute <= end:
            depth = one.start_fsw + (one.end_fsw - one.start_fsw) * (minute - start) / one.minutes
            return figure(depth)
        start = end
    return ""


def oxygen_rows(figures: Figures) -> list[tuple[str, str, str, str]]:
    """Return each stretch of breathing: who, gas, from, until by run time."""
    return [
        (one.label, "O2" if part.gas == OXYGEN else _("chamber air"), elapsed(part.start_min), elapsed(part.end_min))
        for one in figures.people
        for part in one.breathed
    ]


def reading_rows(figures: Figures) -> list[tuple[str, str, str]]:
    """Return each logged reading: site time, what, value with its unit."""
    return [(clock(at, figures.zone), what, f"{value} {unit}") for at, what, value, unit in figures.readings]
