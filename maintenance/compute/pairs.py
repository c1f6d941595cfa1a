"""Two instruments that should agree: when their difference asks for a test.

"More than" does not include the limit itself; differences are taken in decimal as typed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from decimal import Decimal


class PairError(ValueError):
    """Two readings that cannot be compared."""


@dataclass(frozen=True, slots=True)
class PairVerdict:
    """How far two instruments are apart, the limit, and whether a test is due."""

    difference: Decimal
    limit: Decimal
    unit: str
    needs_test: bool


def compare_gauges(
    first: Decimal, second: Decimal, full_scale: Decimal, limit_percent: Decimal, unit: str
) -> PairVerdict:
    """Compare two gauges of like range at the same pressure.

    Units: readings and ``full_scale`` in ``unit``, gauge; ``limit_percent`` % of full scale.
    Errors: PairError if ``full_scale`` is not more than 0.
    Source: maintenance/reference/comparisons.toml [gauge_pair].
    """
    if full_scale <= 0:
        raise PairError(f"Full scale {full_scale} {unit}: it must be more than 0. Read it off the gauges' dials.")
    difference = abs(first - second)
    limit = full_scale * limit_percent / 100
    return PairVerdict(difference, limit, unit, needs_test=difference > limit)


def compare_clocks(apart_s: Decimal, span_h: Decimal, limit_s: Decimal, limit_span_h: Decimal) -> PairVerdict:
    """Compare how far two clocks ran apart within a span.

    Units: ``apart_s``, ``limit_s`` s; ``span_h``, ``limit_span_h`` h. A constant offset is no drift.
    Errors: PairError if the span is not more than 0.
    Source: maintenance/reference/comparisons.toml [clock_pair].
    """
    if span_h <= 0:
        raise PairError(f"Span {span_h} h: it must be more than 0. Compare the clocks at two times.")
    limit = limit_s * span_h / limit_span_h
    return PairVerdict(abs(apart_s), limit, "s", needs_test=abs(apart_s) > limit)
