"""Life of acrylic viewports: years and pressure cycles, and which years in storage do not count."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from maintenance.compute.counters import Usage, projected_on, reached_on, usage
from maintenance.compute.intervals import Span

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date
    from decimal import Decimal

    from maintenance.compute.counters import Reading


class ViewportError(ValueError):
    """Dates of a viewport that cannot all be true."""


class CountedFrom(StrEnum):
    """Where the years begin to count."""

    INSTALLED = "installed"
    STORAGE_OVER = "end of the storage that does not count"
    FABRICATED = "fabrication: storage conditions not met or not known"


class Ending(StrEnum):
    """What ends the design life first."""

    YEARS = "years"
    CYCLES = "cycles"


@dataclass(frozen=True, slots=True)
class ViewportLaw:
    """Design life in years and cycles, from the viewport's own certificate; years of storage that do not count."""

    years: int
    cycles: Decimal
    storage_years: int
    more_years: int


@dataclass(frozen=True, slots=True)
class Viewport:
    """Fabricated and installed on (None: still in storage), whether it was stored as the standard asks."""

    fabricated_on: date
    installed_on: date | None
    stored_as_asked: bool


@dataclass(frozen=True, slots=True)
class ViewportLife:
    """Start of counting and why; ends by years and by cycles; the first of them; the outermost end."""

    counted_from: date
    because: CountedFrom
    ends_by_years: date
    ends_by_cycles: date | None
    cycles_reached: bool
    ends_on: date
    ending: Ending
    outermost_on: date
    usage: Usage | None

    def over(self, today: date) -> bool:
        """Whether the design life is over on ``today``; cycles exactly at their limit end it."""
        return self.cycles_reached or today > self.ends_on


def counting(viewport: Viewport, law: ViewportLaw, today: date) -> tuple[date, CountedFrom]:
    """Return from when the years count.

    Stored as asked, up to ``storage_years`` from fabrication do not count; later installed, counting
    starts when they are over; stored otherwise, it starts at fabrication.
    Errors: ViewportError if installed before fabricated.
    Source: ASME PVHO-2, storage; maintenance/reference/viewports.toml.
    """
    begun = viewport.installed_on or today
    if begun < viewport.fabricated_on:
        raise ViewportError(f"Installed {begun}, fabricated {viewport.fabricated_on}: check the two dates.")
    if not viewport.stored_as_asked:
        return viewport.fabricated_on, CountedFrom.FABRICATED
    storage_over = Span(12 * law.storage_years).after(viewport.fabricated_on)
    if begun > storage_over or (viewport.installed_on is None):
        return storage_over, CountedFrom.STORAGE_OVER
    return begun, CountedFrom.INSTALLED


def viewport_life(
    viewport: Viewport, cycles: Sequence[Reading], law: ViewportLaw, today: date, span_days: int
) -> ViewportLife:
    """Return when a viewport's design life ends: years or cycles, whichever comes first.

    ``cycles`` is a running total; the day of its limit is projected from its rate, or the day it was reached.
    Errors: ViewportError.
    """
    start, because = counting(viewport, law, today)
    by_years = Span(12 * law.years).after(start)
    rate = usage(cycles, span_days)
    reached = reached_on(cycles, law.cycles)
    by_cycles = reached or (projected_on(cycles[-1], law.cycles, rate.per_day) if cycles and rate else None)
    first = by_years if by_cycles is None else min(by_years, by_cycles)
    return ViewportLife(
        start,
        because,
        by_years,
        by_cycles,
        reached is not None,
        first,
        Ending.YEARS if first == by_years else Ending.CYCLES,
        Span(12 * (law.years + law.more_years)).after(start),
        rate,
    )
