"""The spans of typed values, the working pressure of a chamber and the handbook's words, from reference and rows."""

from __future__ import annotations

from collections import defaultdict
from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING

from treatments.compute.log_values import Span
from treatments.compute.pressure import to_kpa_gauge
from treatments.reference import figures
from treatments.reference.laws import scales

if TYPE_CHECKING:
    from collections.abc import Iterable

    from facility.compute.reference import Sourced
    from facility.models import Lock

NAMES = ("least", "most", "low", "high")


@lru_cache
def spans() -> dict[str, Span]:
    """Return the span of each value by its key."""
    return {key: span for key, span in _all().items() if not key.startswith("depth.")}


@lru_cache
def depth_spans() -> dict[str, Span]:
    """Return the span of a depth by its unit."""
    return {key.removeprefix("depth."): span for key, span in _all().items() if key.startswith("depth.")}


@lru_cache
def _all() -> dict[str, Span]:
    found: dict[str, dict[str, Decimal]] = defaultdict(dict)
    for name, one in figures("log_spans").items():
        key, _dot, end = name.rpartition(".")
        found[key][end] = one.number
    return {key: Span(*(ends[name] for name in NAMES)) for key, ends in found.items()}


def rules_for(kind: str) -> list[Sourced]:
    """Return what the handbook asks to be logged at such an event, and what its tables say; never advice."""
    return [one for name, one in figures("log_rules").items() if name.startswith(f"{kind}.")]


def kpa(value: Decimal, unit: str) -> Decimal:
    """Return a gauge pressure in kPa, by the scale of 1 msw = 3.2646 fsw."""
    return to_kpa_gauge(value, unit, scales()["1 msw = 3.2646 fsw"])


def deeper_than(depth: Decimal | None, unit: str, locks: Iterable[Lock]) -> Lock | None:
    """Return the lock whose working pressure a depth exceeds, the strongest one; None if some lock may be that deep.

    A chamber without a lock on record is not judged.
    """
    known = sorted(locks, key=lambda lock: kpa(lock.working_pressure, lock.working_pressure_unit))
    if depth is None or not known:
        return None
    strongest = known[-1]
    limit = kpa(strongest.working_pressure, strongest.working_pressure_unit)
    return strongest if kpa(depth, unit) > limit else None
