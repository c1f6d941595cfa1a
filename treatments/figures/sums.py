"""All explained figures of a run, in the order of the page."""

from __future__ import annotations

from typing import TYPE_CHECKING

from treatments.figures import sums_air, sums_clock, sums_people

if TYPE_CHECKING:
    from treatments.figures.shape import Figures
    from treatments.figures.sum import Sum


def sums_of(figures: Figures) -> tuple[Sum, ...]:
    """Return every figure of a run with its inputs, formula, sources and caution."""
    return (
        sums_clock.planned_clock(figures),
        sums_clock.stops_and_rates(figures),
        sums_clock.departures(figures),
        sums_people.oxygen(figures),
        sums_people.dose(figures),
        sums_people.tender_oxygen(figures),
        sums_people.waits(figures),
        sums_air.carbon_dioxide(figures),
        sums_air.ventilation(figures),
        sums_air.temperature(figures),
        sums_air.gas(figures),
    )
