"""Recorded profiles on the clock of the run, each with where it departs from the table."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError

from facility.evidence import read_back
from treatments.compute.instrument import DepthUnit, InstrumentError, Layout, TimeForm, decoded
from treatments.compute.phases import NOT_RECORDED
from treatments.compute.samples import read
from treatments.compute.so_far import compare_so_far
from treatments.compute.tables import Segment
from treatments.figures.rows import SCALE
from treatments.figures.shape import Recorded
from treatments.reference.laws import scales, tolerances

if TYPE_CHECKING:
    from treatments.compute.conformity import Deviation
    from treatments.figures.timing import Timing
    from treatments.models import RecordedProfile


def recorded(found: Timing) -> tuple[Recorded, ...]:
    """Return the recorded profiles of a run; its gas is not recorded and not compared."""
    return tuple(_one(found, row) for row in found.rows.recorded)


def _one(found: Timing, row: Any) -> Recorded:
    shift = row.offset_s / 60
    pieces = tuple(
        (str(kind), start - shift, end - shift, max(0.0, top), max(0.0, bottom))
        for kind, start, end, top, bottom in row.pieces
    )
    return Recorded(row.pk, row.instrument, pieces, _deviations(found, pieces))


def _deviations(found: Timing, pieces: tuple[tuple[str, float, float, float, float], ...]) -> tuple[Deviation, ...]:
    """Compare what was recorded from leaving the surface on; a gap is run through straight and shown as a gap."""
    kept = [
        Segment(top, bottom, end - max(start, 0.0), NOT_RECORDED)
        for _kind, start, end, top, bottom in pieces
        if end > max(start, 0.0) and (top > tolerances().depth_fsw or bottom > tolerances().depth_fsw)
    ]
    if found.plan is None or not kept:
        return ()
    return compare_so_far(found.plan, kept, tolerances(), over=found.rows.over).deviations


def layout_of(row: RecordedProfile) -> Layout:
    """Return the layout that a stored profile was read by."""
    values = {name: value for name, value in row.columns.items() if name != "encoding"}
    day = values["day"]
    forms = {"time_form": TimeForm(values["time_form"]), "unit": DepthUnit(values["unit"])}
    return Layout(**values | forms | {"day": date.fromisoformat(day) if day else None})


def samples_of(row: RecordedProfile, zone: ZoneInfo) -> tuple[tuple[float, float], ...]:
    """Return the samples of a recorded profile on the clock of the run: minute from leaving the surface, fsw.

    Empty where its file is gone, altered or cannot be read any more: the pieces of the profile are there all the same.
    """
    try:
        text, _encoding = decoded(read_back(row.evidence))
        found = read(text, layout_of(row), scales()[SCALE], zone)
    except (ValidationError, InstrumentError, KeyError, ValueError, OSError):
        return ()
    shift = row.offset_s
    return tuple(((second - shift) / 60, depth) for second, depth in zip(found.times_s, found.depths_fsw, strict=True))
