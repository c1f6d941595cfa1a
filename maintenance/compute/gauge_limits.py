"""How far a pressure gauge may be wrong: by class, by grade with zones, or by the facility's own limit."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

LOWER_MARK, UPPER_MARK = Decimal("0.25"), Decimal("0.75")  # the quarter marks that zones are defined by


class GaugeLimitError(ValueError):
    """A scale, class or grade that gives no limit."""


@dataclass(frozen=True, slots=True)
class Scale:
    """Lowest and highest value on a dial, in its unit; the span of -1 to +5 is 6."""

    low: Decimal
    high: Decimal

    @property
    def span(self) -> Decimal:
        """Length of the scale. Errors: GaugeLimitError if it is not more than 0."""
        if self.high <= self.low:
            raise GaugeLimitError(f"Scale {self.low} to {self.high}: its end must be above its start. Read the dial.")
        return self.high - self.low


@dataclass(frozen=True, slots=True)
class Limits:
    """Largest error in % of span in the lower quarter, middle half and upper quarter, or an absolute own limit."""

    percents: tuple[Decimal, Decimal, Decimal] | None = None
    own: Decimal | None = None


def same_everywhere(percent: Decimal) -> Limits:
    """Return the limits of a class or grade with one figure for the whole scale."""
    return Limits((percent, percent, percent))


def by_zones(figures: Sequence[Decimal]) -> Limits:
    """Return the limits of a grade: one figure, or three for the lower quarter, middle half and upper quarter.

    Errors: GaugeLimitError for any other number of figures.
    """
    if len(figures) == 1:
        return same_everywhere(figures[0])
    if len(figures) != 3:  # noqa: PLR2004  the zones of a scale
        raise GaugeLimitError(f"{len(figures)} figures: a grade has one, or one for each of three zones.")
    return Limits((figures[0], figures[1], figures[2]))


def limit_at(limits: Limits, scale: Scale, value: Decimal) -> Decimal:
    """Return the largest error allowed at ``value``, in the unit of the scale.

    A value exactly at a quarter mark takes the tighter of its two zones.
    Errors: GaugeLimitError if no limit is given.
    Source: EN 837-1, table of error limits; ASME B40.100, grades.
    """
    if limits.own is not None:
        return limits.own
    if limits.percents is None:
        raise GaugeLimitError("No limit is given. Choose a class, a grade, or the facility's own limit.")
    lower, middle, upper = limits.percents
    place = (value - scale.low) / scale.span
    zones = []
    if place <= LOWER_MARK:
        zones.append(lower)
    if LOWER_MARK <= place <= UPPER_MARK:
        zones.append(middle)
    if place >= UPPER_MARK:
        zones.append(upper)
    return min(zones) * scale.span / 100


def percent_of_span(error: Decimal, scale: Scale) -> Decimal:
    """Return an error as a percentage of span."""
    return 100 * error / scale.span
