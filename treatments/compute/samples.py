"""Samples from the text of an instrument: seconds and fsw, with every row that was not one named."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import TYPE_CHECKING

from treatments.compute.instrument import DepthUnit, InstrumentError, Layout
from treatments.compute.sample_rows import Rows, numbers_of, taken, without
from treatments.compute.sample_times import refuse_jump, times_of
from treatments.compute.tables import DEEPEST_FSW

if TYPE_CHECKING:
    from datetime import datetime
    from zoneinfo import ZoneInfo

    from treatments.compute.pressure import Scale

LEAST_FSW = -10.0  # common practice, no source: a gauge that reads less is on another scale


@dataclass(frozen=True, slots=True)
class Samples:
    """A record as read. Seconds from its first row, fsw gauge; ``begins_at`` if its clock tells the day.

    ``gas``: [(minute, what the column says)] at each change. ``oxygen``: [(minute, %)] of the rows that have one.
    ``without_depth`` and ``repeated``: numbers of the rows that say no depth, or the time of the row before.
    """

    times_s: list[float]
    depths_fsw: list[float]
    begins_at: datetime | None = None
    gas: list[tuple[float, str]] = field(default_factory=list)
    oxygen: list[tuple[float, float]] = field(default_factory=list)
    without_depth: list[int] = field(default_factory=list)
    repeated: list[int] = field(default_factory=list)


def read(text: str, layout: Layout, scale: Scale, zone: ZoneInfo) -> Samples:
    """Return the samples of a text by its layout.

    ``scale``: of sea water against pressure. ``zone``: of the site, for clock times and offsets.
    Errors: InstrumentError naming the row, its value, what is allowed and what to do.
    """
    rows = taken(text, layout)
    depths = numbers_of(rows, layout.depth, "depth", may_be_empty=True)
    missing = [n for n, depth in enumerate(depths) if depth is None]
    gone = [rows.numbers[n] for n in missing]
    if missing:
        rows, depths = without(rows, depths, frozenset(missing))
    if not depths:
        raise InstrumentError(
            "No row has a depth in column %(column)s. Choose another column.", column=layout.depth + 1
        )
    seconds, begins_at = times_of(rows, zone)
    pressures = [depth for depth in depths if depth is not None]
    samples = Samples(seconds, _fsw(pressures, rows, scale), begins_at, without_depth=gone)
    refuse_jump(samples.times_s, rows)
    samples.gas.extend(_changes(rows, seconds))
    samples.oxygen.extend(_oxygen(rows, seconds))
    return _once(samples, rows)


def _fsw(pressures: list[float], rows: Rows, scale: Scale) -> list[float]:
    factor, less = _by_unit(rows.layout, scale)
    found = [one * factor - less for one in pressures]
    for worst, allowed in ((max(found), DEEPEST_FSW), (min(found), LEAST_FSW)):
        if (worst > allowed) if allowed > 0 else (worst < allowed):
            place = found.index(worst)
            raise InstrumentError(
                "Row %(row)s: %(value)s %(unit)s is %(fsw)s fsw. Taken are %(least)s to %(most)s fsw: choose the unit"
                " in which the instrument records, and the pressure at the surface if it counts the air above.",
                row=rows.numbers[place], value=f"{pressures[place]:g}", unit=rows.layout.unit, fsw=f"{worst:.1f}",
                least=f"{LEAST_FSW:g}", most=f"{DEEPEST_FSW:g}",
            )  # fmt: skip
    return found


def _by_unit(layout: Layout, scale: Scale) -> tuple[float, float]:
    """Return what a value is multiplied by, and what is taken off, to have fsw gauge."""
    unit = layout.unit
    if unit is None:
        raise InstrumentError("The unit of the depth is not known. Choose it.")
    if unit.absolute and layout.surface_kpa is None:
        raise InstrumentError(
            "“%(unit)s” counts the air above. Give the pressure at the surface in kPa absolute, as read on that day.",
            unit=unit,
        )
    factors = scale.factors()
    fsw = float(scale.fsw)
    surface = layout.surface_kpa if unit.absolute and layout.surface_kpa is not None else 0.0
    return (1.0 if unit is DepthUnit.FSW else float(factors[unit.removesuffix(" abs")]) / fsw), surface / fsw


def _changes(rows: Rows, times_s: list[float]) -> list[tuple[float, str]]:
    if rows.layout.gas is None:
        return []
    found: list[tuple[float, str]] = []
    for cell, second in zip(rows.column(rows.layout.gas), times_s, strict=True):
        said = cell.strip()[:20]
        if not found or said != found[-1][1]:
            found.append((second / 60, said))
    return found


def _oxygen(rows: Rows, times_s: list[float]) -> list[tuple[float, float]]:
    if rows.layout.oxygen is None:
        return []
    values = numbers_of(rows, rows.layout.oxygen, "O2 %", may_be_empty=True)
    return [(second / 60, one) for second, one in zip(times_s, values, strict=True) if one is not None]


def _once(samples: Samples, rows: Rows) -> Samples:
    """Join rows of one time into one sample at their mean depth; their numbers stay named."""
    if all(one < after for one, after in pairwise(samples.times_s)):
        return samples
    times: list[float] = []
    gathered: list[list[float]] = []
    for second, depth, number in zip(samples.times_s, samples.depths_fsw, rows.numbers, strict=True):
        if times and second == times[-1]:
            gathered[-1].append(depth)
            samples.repeated.append(number)
        else:
            times.append(second)
            gathered.append([depth])
    return replace(samples, times_s=times, depths_fsw=[sum(one) / len(one) for one in gathered])
